"""Our named tuples against those of `typing`: to those who use them they are the same."""

from __future__ import annotations

import copy
import inspect
import pickle
import typing
from collections.abc import Callable

import pytest

from plica import named_tuples
from plica.limits import Limits

Value = typing.TypeVar("Value")


def _classes(base: typing.Any) -> tuple[typing.Any, typing.Any, typing.Any]:
    class Record(base):  # type: ignore[misc]
        first: int
        second: tuple[str, ...] = ()
        third: float | None = None

        @property
        def doubled(self) -> int:
            """Twice the first."""
            return 2 * self.first  # type: ignore[no-any-return]

        def shown(self) -> str:
            return f"shown {self}"

    class Empty(base):  # type: ignore[misc]
        """It has no fields."""

    class OfAny(base, typing.Generic[Value]):  # type: ignore[misc]
        held: Value
        count: int = 1

    return Record, Empty, OfAny


PAIRS = list(zip(_classes(named_tuples.NamedTuple), _classes(typing.NamedTuple), strict=True))
SAMPLES = [((1,), {}), ((1, ("a",)), {"third": 2.5}), ((), {"second": (), "first": 3}), ((1, (), None), {})]
WRONG: list[Callable[[typing.Any], object]] = [
    lambda record: record(),
    lambda record: record(1, 2, 3, 4),
    lambda record: record(1, first=2),
    lambda record: record(1, fourth=2),
    lambda record: record(1)._replace(fourth=2),
    lambda record: record._make([1]),
    lambda record: setattr(record(1), "first", 2),
    lambda record: setattr(record(1), "other", 2),
]


@pytest.mark.parametrize("ours, python", PAIRS, ids=["record", "empty", "generic"])
def test_classes_say_the_same_of_themselves(ours: typing.Any, python: typing.Any) -> None:
    for name in ("__doc__", "__match_args__", "__module__", "__qualname__", "__slots__", "_fields", "_field_defaults"):
        assert getattr(ours, name) == getattr(python, name), name
    assert typing.get_type_hints(ours) == typing.get_type_hints(python)
    assert type(ours) is type(python) is type
    parameters = [[(one.name, one.kind, one.default) for one in inspect.signature(record).parameters.values()]
                  for record in (ours, python)]  # fmt: skip
    assert parameters[0] == parameters[1]


@pytest.mark.parametrize("values, named", SAMPLES)
def test_records_behave_the_same(values: tuple[object, ...], named: dict[str, object]) -> None:
    (ours, python), _, (ours_of_any, _) = PAIRS
    mine, theirs = ours(*values, **named), python(*values, **named)
    assert mine == theirs and hash(mine) == hash(theirs) and repr(mine) == repr(theirs)
    assert mine._asdict() == theirs._asdict() and mine._replace(first=9) == theirs._replace(first=9)
    assert type(mine._replace(first=9)) is type(ours._make(theirs)) is type(copy.deepcopy(mine)) is ours
    assert mine.doubled == theirs.doubled and mine.shown() == theirs.shown()
    assert ours_of_any[int](4, 2) == (4, 2)
    match mine:
        case ours(first, second):
            assert (first, second) == (theirs.first, theirs.second)
        case _:
            pytest.fail("a pattern with places does not match")


@pytest.mark.parametrize("wrong", WRONG)
def test_what_is_wrong_is_refused_with_the_same_words(wrong: Callable[[typing.Any], object]) -> None:
    ours, python = PAIRS[0]
    with pytest.raises((TypeError, ValueError, AttributeError)) as expected:
        wrong(python)
    with pytest.raises(expected.type) as met:
        wrong(ours)
    assert str(met.value) == str(expected.value)


def test_records_are_pickled() -> None:
    limits = Limits(joints=3)
    assert pickle.loads(pickle.dumps(limits)) == limits
    assert type(pickle.loads(pickle.dumps(limits))) is Limits
