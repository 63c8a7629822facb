"""What a file leaves open: asked, never guessed, and all of it in one message."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from profiles.noun import BadInput

MOST = 8


class Question(BadInput):
    """A refusal that a stated key would lift.

    Attributes
    ----------
    trial : dict
        Keys of the dialect by which the rest of the file can be looked at meanwhile; nothing is read by them.
    """

    def __init__(self, rule: str, *, trial: dict[str, Any], **told: Any):
        super().__init__(rule, **told)
        self.trial = trial


def all_asked(read: Callable[[dict[str, Any]], Any], *, file: object) -> Any:
    """What `read` gives without trials, or every question that it has, asked at once.

    Parameters
    ----------
    read : callable
        Takes the trial answers to the questions so far.

    Raises
    ------
    BadInput
        The question, or several in one message: what is open, and what to state.
    """
    asked: list[Question] = []
    trial: dict[str, Any] = {}
    while len(asked) < MOST:
        try:
            found = read(trial)
            if not asked:
                return found
            break
        except Question as question:
            asked.append(question)
            if trial.keys() >= question.trial.keys():
                break
            trial = trial | question.trial
        except BadInput:
            if not asked:
                raise
            break  # it may only be wrong because a trial answer is
    if len(asked) == 1:
        raise asked[0]
    told = "; ".join(f"({k}) {one.key} {one.rule}".replace("  ", " ") for k, one in enumerate(asked, 1))
    ways = "; ".join(dict.fromkeys(one.way_out for one in asked))
    raise BadInput(f"leaves {len(asked)} things open: {told}", file=file, way_out=ways)
