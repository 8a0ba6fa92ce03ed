"""A label is data that a unit edits: what is wrong in it is said with file and line."""

from pathlib import Path

import pytest

from traceability.printing.label import WrongLabel, labels_folder, load_label

SOUND = """\
# a label of two things
width_mm = 60
height_mm = 40

[[field]]
name = "number"
box = [2, 2, 30, 8]

[[symbol]]
name = "circuit"
box = [36, 2, 20, 20]
module_mm = 0.5

[[rule]]
box = [2, 30, 50, 0.5]
"""


def written(folder: Path, text: str) -> Path:
    (folder / "mine").mkdir(exist_ok=True)
    (folder / "mine" / "label.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", sorted(each.name for each in labels_folder().iterdir()))
def test_every_label_of_the_project_is_sound(name: str) -> None:
    assert load_label(name).name == name


def test_a_unit_adds_a_label_without_code(tmp_path: Path) -> None:
    label = load_label("mine", written(tmp_path, SOUND))
    assert [field.name for field in label.fields] == ["number"]
    assert (label.symbols[0].kind, label.symbols[0].quiet) == ("datamatrix", 1)


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("width_mm = 60", "width_mm = true", 2, "width_mm must be a number"),
        ("width_mm = 60", "width = 60", 2, "'width' is not known"),
        ("height_mm = 40", "", 1, "height_mm must be a number"),
        ('name = "number"', "", 5, "without a name"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30]", 7, "number: box must be"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, nan]", 7, "number: box must be"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 35, 8]\nsize = 9", 12, "runs into number"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, 8]\nfont = 'Comic'", 8, "font must be one of"),
        ("box = [2, 2, 30, 8]", "box = [2, 2, 30, 8]\nsize = 9\nleast = 10", 9, "least must be"),
        ("module_mm = 0.5", "modul_mm = 0.5", 12, "'modul_mm' is not known"),
        ("module_mm = 0.5", "quiet_modules = 0", 12, "quiet_modules must be"),
        ("module_mm = 0.5", 'kind = "aztec"', 12, "kind must be one of datamatrix, qr"),
        ("box = [36, 2, 20, 20]", "box = [46, 2, 20, 20]", 11, "goes over the edge"),
        ("box = [2, 30, 50, 0.5]", "box = [2, 21, 50, 0.5]", 15, "runs into circuit"),
        ("[[rule]]", "[[ruler]]", 14, "'ruler' is not known"),
        ("[[rule]]", "[rule]", 14, "write [[rule]] above each rule"),
        ("height_mm = 40", "height_mm = = 40", 3, "line 3"),
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
    assert f"line {line}" in said


def test_a_name_may_stand_once(tmp_path: Path) -> None:
    again = '[[field]]\nname = "number"\nbox = [2, 12, 30, 8]\n\n[[rule]]'
    with pytest.raises(WrongLabel, match=r"line 15: number: this name is taken"):
        load_label("mine", written(tmp_path, SOUND.replace("[[rule]]", again)))


def test_a_file_in_another_encoding_is_named(tmp_path: Path) -> None:
    folder = written(tmp_path, SOUND)
    (folder / "mine" / "label.toml").write_bytes(SOUND.encode() + 'x = "å"'.encode("latin-1"))
    with pytest.raises(WrongLabel, match=r"label\.toml, line 16: not UTF-8"):
        load_label("mine", folder)


def test_a_missing_label_is_named(tmp_path: Path) -> None:
    with pytest.raises(WrongLabel, match="no such label"):
        load_label("mine", tmp_path)
