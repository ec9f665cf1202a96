"""Libraries of any values under a few conditions, for properties; and of the tables that come with the program."""

from hypothesis import strategies as st

from webcapture.reference.exchange import TABLES, shipped
from webcapture.reference.library import MARKS, Library, Value
from webcapture.reference.method import method_of

PHASES = ("water", "ethanol", "propanone : water 9 : 1", "propanone : water 8 : 2", "ethanol 70 %", '"our own"')
PAPERS = ("paper a", "paper b")
VALUES = st.lists(
    st.builds(
        Value, st.sampled_from("ABCDEFG"), st.builds(method_of, st.sampled_from(PHASES), st.sampled_from(PAPERS)),
        st.floats(0, 1), st.sampled_from(MARKS), st.just("x"), hex=st.sampled_from(["", "#0000ff"]),
    ),
    max_size=40, unique_by=lambda v: v.identity,
)  # fmt: skip


def shipped_library(*names: str) -> Library:
    """Those tables, or all of them, as one library."""
    return Library.of(value for name in names or TABLES for value in shipped(name))
