"""Every answer that a command gives to a shipped order, held against the one that is kept.

A difference is a change of behaviour: meant, then renew the files with ``python tests/golden_answers.py`` and look
at each difference; or not, then mend it.
"""

from __future__ import annotations

import json

import pytest
from golden_answers import GOLDEN, answer, questions


@pytest.mark.parametrize(("kind", "name"), list(questions()))
def test_the_answer_is_the_one_that_is_kept(kind: str, name: str) -> None:
    kept, found = GOLDEN / kind / f"{name}.json", answer(kind, name)
    assert kept.exists() == (found is not None)
    if found is not None:
        assert json.loads(found) == json.loads(kept.read_text(encoding="utf-8"))


def test_no_answer_is_kept_that_nobody_asks_for() -> None:
    asked = {f"{kind}/{name}.json" for kind, name in questions()}
    assert {str(path.relative_to(GOLDEN)) for path in GOLDEN.rglob("*.json")} <= asked
