"""A label is data that a unit edits: what is wrong in it is said with file and line."""

import re
from pathlib import Path

import pytest

from tests.printing.paper import FACTS, render_tag, text
from traceability.printing.label import OFFERS, WrongLabel, labels_folder
from traceability.printing.label_file import load_label

SOUND = """\
# a label of two things
of = "place"
width_mm = 60
height_mm = 40

[[field]]
name = "name"
box = [2, 2, 30, 8]

[[symbol]]
name = "place"
box = [36, 2, 20, 20]
module_mm = 0.5

[[rule]]
box = [2, 30, 50, 0.5]
"""

MINE = """\
of = "circuit"
width_mm = 80
height_mm = 50

[[field]]
name = "warning"
box = [2, 2, 76, 6]

[[field]]
name = "practice"
box = [2, 9, 76, 6]

[[field]]
name = "all"
text = "DO NOT USE {number}. It was to be used by {use_by}. {oxygenator}"
lines = 6
size = 9
least = 6
box = [2, 16, 40, 32]
"""


def written(folder: Path, content: str) -> Path:
    (folder / "mine").mkdir(exist_ok=True)
    (folder / "mine" / "label.toml").write_text(content, encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", sorted(each.parent.name for each in labels_folder().glob("*/*")))
def test_every_label_of_the_project_is_sound(name: str) -> None:
    assert load_label(name).name == name


def test_a_unit_adds_a_label_without_code(tmp_path: Path) -> None:
    label = load_label("mine", written(tmp_path, SOUND))
    assert [(field.name, field.text) for field in label.fields] == [("name", "{name}")]
    assert (label.symbols[0].kind, label.symbols[0].quiet) == ("datamatrix", 1)


def test_words_and_facts_of_an_added_label_are_printed(tmp_path: Path) -> None:
    label = load_label("mine", written(tmp_path, MINE))
    said = text(render_tag(FACTS, label=label))
    assert "DO NOT USE C-0419. It was to be used by 2026-12-25 04:10 CET." in said
    assert "Oxygenator lot 3F0117, serial 000452" in said
    assert "SIGNATURE" not in said


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("width_mm = 60", "width_mm = true", 3, "width_mm must be a number"),
        ("width_mm = 60", "width_mm = nan", 3, "width_mm must be a number"),
        ("width_mm = 60", "width = 60", 3, "width is not known"),
        ("height_mm = 40", "", 1, "height_mm must be a number"),
        ('of = "place"', 'of = "patient"', 2, "of must be one of circuit, notice"),
        ('name = "name"', "", 6, "name must be a text"),
        ('name = "name"', 'name = "nmae"', 7, "nmae is nothing that a place says"),
        ('name = "name"', 'name = "unit"', 2, "a label of a place must say name"),
        (
            'name = "name"',
            'name = "x"\ntext = "{name} {patient}"',
            8,
            "patient is nothing that a place says; it says duty, name, unit",
        ),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30]", 8, "box must be"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, nan]", 8, "box must be"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, 0]", 8, "without width or height"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 35, 8]\nsize = 9", 13, "place runs into name"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, 8]\nfont = 'Comic'", 9, "font must be one of"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, 8]\nsize = 9\nleast = 10", 10, "least must be"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, 8]\nsize = 4", 9, "size must be a number from 5"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, 2]\nleast = 9", 8, "3.81 mm high for a line"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, 8]\nlines = 1.5", 9, "a whole number"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, 8]\nalgin = 'left'", 9, "algin is not known"),
        ('name = "place"', 'name = "circuit"', 11, "name must be one of place"),
        ("module_mm = 0.5", "modul_mm = 0.5", 13, "modul_mm is not known"),
        ("module_mm = 0.5", "", 10, "module_mm must be a number"),
        ("module_mm = 0.5", "module_mm = 1\nquiet_modules = 0", 14, "quiet_modules must be"),
        ("module_mm = 0.5", 'kind = "qr"\nmodule_mm = 1\nquiet_modules = 3', 15, "from 4 to 50"),
        (
            "module_mm = 0.5",
            'kind = "aztec"',
            13,
            "kind must be one of datamatrix, gs1-datamatrix, qr",
        ),
        ("box = [36, 2, 20, 20]", "box = [46, 2, 20, 20]", 12, "goes over the edge of 60 x 40 mm"),
        ("box = [2, 30, 50, 0.5]", "box = [2, 21, 50, 1.5]", 16, "the line runs into place"),
        ("[[rule]]", "[[ruler]]", 15, "ruler is not known"),
        ("[[rule]]", "[rule]", 15, "write [[rule]] above each rule"),
        ("height_mm = 40", "height_mm = = 40", 4, "line 4"),
    ],
)
def test_what_is_wrong_is_said_with_file_and_line(
    tmp_path: Path, old: str, new: str, line: int, says: str
) -> None:
    assert old in SOUND
    folder = written(tmp_path, SOUND.replace(old, new, 1))
    with pytest.raises(WrongLabel) as wrong:
        load_label("mine", folder)
    said = str(wrong.value)
    assert str(folder / "mine" / "label.toml") in said
    assert says in said
    assert re.search(rf"line {line}\b", said)


@pytest.mark.parametrize("needed", sorted(OFFERS["circuit"].needed))
def test_a_label_of_a_circuit_may_not_leave_out_what_a_hurried_reader_needs(
    tmp_path: Path, needed: str
) -> None:
    fewer = MINE.replace(f"{{{needed}}}", "").replace(f'"{needed}"', '"copy"')
    with pytest.raises(WrongLabel, match=f"line 1: a label of a circuit must say {needed}"):
        load_label("mine", written(tmp_path, fewer))


def test_a_file_in_another_encoding_is_named(tmp_path: Path) -> None:
    folder = written(tmp_path, SOUND)
    (folder / "mine" / "label.toml").write_bytes(SOUND.encode() + 'x = "å"'.encode("latin-1"))
    with pytest.raises(WrongLabel, match=r"label\.toml, line 17: not a text in UTF-8"):
        load_label("mine", folder)


def test_a_missing_label_is_named(tmp_path: Path) -> None:
    with pytest.raises(WrongLabel, match="no such label"):
        load_label("mine", tmp_path)
