"""`NamedTuple` as in `typing`, its classes made in a tenth of the time.

Python's own compiles every annotation, and a constructor for every class: for the records that a check loads together a
fifth of the check. Here annotations stay the texts that they are in a module with `from __future__ import annotations`,
and constructors of equally many fields share one code. The classes are the same to those who use them. What a class
must not state (a field that begins with `_`, one without a default after one with) is left to checkers of types. The
modules that `plica check` loads take it from here, which a test says.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import NamedTuple as NamedTuple  # named twice, so that it is exported
else:
    from functools import cache
    from types import CodeType, FunctionType

    try:
        from _collections import _tuplegetter as _getter  # what the standard library takes
    except ImportError:
        from operator import itemgetter

        def _getter(index: int, documentation: str) -> property:
            return property(itemgetter(index), doc=documentation)

    class _Record(tuple):
        """The methods of all named tuples, as the standard library documents them."""

        __slots__ = ()
        _fields = ()

        @classmethod
        def _make(cls, values):
            made = tuple.__new__(cls, values)
            if len(made) != len(cls._fields):
                raise TypeError(f"Expected {len(cls._fields)} arguments, got {len(made)}")
            return made

        def _replace(self, /, **changed):
            made = tuple.__new__(self.__class__, map(changed.pop, self._fields, self))
            if changed:
                raise ValueError(f"Got unexpected field names: {list(changed)!r}")
            return made

        __replace__ = _replace

        def _asdict(self):
            return dict(zip(self._fields, self, strict=True))

        def __repr__(self):
            shown = ", ".join(f"{name}={value!r}" for name, value in zip(self._fields, self, strict=True))
            return f"{self.__class__.__name__}({shown})"

        def __getnewargs__(self):
            return tuple(self)

    @cache
    def _constructor_code(count: int) -> CodeType:
        """The code of a constructor with so many fields, whose names are to be replaced."""
        fields = "".join(f"field_{number}, " for number in range(count))
        return eval(f"lambda _cls, {fields}: _new(_cls, ({fields}))").__code__

    def _constructor(name: str, annotations: dict[str, str], defaults: tuple[object, ...]) -> FunctionType:
        code = _constructor_code(len(annotations)).replace(co_varnames=("_cls", *annotations))
        made = FunctionType(code, {"_new": tuple.__new__, "__name__": f"namedtuple_{name}"}, "__new__", defaults)
        made.__qualname__ = f"{name}.__new__"
        made.__annotations__ = annotations
        return made

    class _Meta(type):
        """The class of `NamedTuple`: makes the classes derived from it, which are of the class `type`."""

        def __new__(cls, name: str, bases: tuple[type, ...], namespace: dict[str, object]) -> type:
            if not bases:
                return super().__new__(cls, name, bases, namespace)
            if len(bases) > 1:
                return _with_parameters(name, bases, namespace)
            annotations = namespace.get("__annotations__", {})
            fields = tuple(annotations)
            defaults = {field: namespace[field] for field in fields if field in namespace}
            own = {
                "__doc__": f"{name}({', '.join(fields)})",
                **namespace,
                "__slots__": (),
                "__new__": _constructor(name, annotations, tuple(defaults.values())),
                "__match_args__": fields,
                "_fields": fields,
                "_field_defaults": defaults,
            }
            for index, field in enumerate(fields):
                own[field] = _getter(index, f"Alias for field number {index}")
            return type(name, (_Record,), own)

    def _with_parameters(name: str, bases: tuple[type, ...], namespace: dict[str, object]) -> type:
        """A class with parameters of types too, of which there are few, made by Python."""
        import typing
        from types import new_class

        stated = namespace.pop("__orig_bases__", bases)
        kept = tuple(typing.NamedTuple if base is NamedTuple else base for base in stated)
        return new_class(name, kept, {}, lambda made: made.update(namespace))

    class NamedTuple(metaclass=_Meta):
        """A tuple whose items have names."""
