"""Every question of the recall stories; source: tests/data/recall/README.md."""

from typing import Any

import pytest

from tests.recall_stories import Story, stories

QUESTIONS = [
    pytest.param(story, question, id=f"{story.id.split('_')[0]}-{question['id']}")
    for story in stories()
    for question in story.questions
]


@pytest.mark.parametrize(("story", "question"), QUESTIONS)
def test_a_story_is_answered_as_it_was_worked_out_by_hand(
    story: Story, question: dict[str, Any]
) -> None:
    answered = story.ask(question)
    expected = question["expect"]
    assert {key: answered.get(key) for key in expected} == expected
