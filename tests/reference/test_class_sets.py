"""Class sets of thirty sheets: which set of references is found beside, and by the table alone. Seeds are stated; nobody looked at them first."""

from collections import Counter

import pytest

from tests.reference.classes import Model, counted

SEEDS = range(100, 108)
"""Eight class sets, 240 sheets."""


def share(tally: Counter[str], word: str) -> float:
    return tally[word] / sum(tally.values())


def test_beside_the_references_the_right_set_is_found() -> None:
    beside, table = (counted(SEEDS, Model(), way) for way in ("beside", "table"))
    assert sum(beside.values()) == 240
    assert share(beside, "right") >= 0.97
    assert share(beside, "wrong") <= 0.01
    assert share(table, "right") < share(beside, "right") - 0.05


def test_naming_the_nearest_value_of_the_table_is_wrong_more_often() -> None:
    assert share(counted(SEEDS, Model(), "nearest"), "wrong") > 0.05


@pytest.mark.parametrize(
    "model",
    [Model(gap=0.0), Model(foreign=0.5), Model(repeat=0.010), Model(shift=0.06)],
    ids=["references anywhere", "half with something else", "repeats worse than stated", "shifts twice as large"],
)
def test_where_it_gets_hard_it_says_so_rather_than_be_wrong(model: Model) -> None:
    assert share(counted(SEEDS, model, "beside"), "wrong") <= 0.01
