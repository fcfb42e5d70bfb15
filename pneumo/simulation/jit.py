"""Compilation of the kernels: once per set of sources, see `pneumo.simulation.cache`.

numba is loaded when something has to be compiled, not before: a kernel that is called from Python
is kept as machine code, which needs no numba (`pneumo.simulation.native`). Any other kernel is
compiled into its callers.
"""

from __future__ import annotations

import json
import threading
import typing
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from functools import cached_property
from typing import Any, Generic, NamedTuple, ParamSpec, TypeVar

from pneumo.simulation import cache, native
from pneumo.simulation.native import Kind

P = ParamSpec("P")
R = TypeVar("R")

_SOURCES: list[Callable[..., Any]] = []
"""Every function that is a kernel."""

INDEX = "fix_integer_index"
"""Name of numba's function, in `numba.np.arrayobj`, that makes the code for an index."""


class _Passed(NamedTuple):
    """An argument of the last call, and how the code takes it."""

    argument: Any
    addresses: bytes
    whole: bytes
    real: bytes


_NOTHING = _Passed(None, b"", b"", b"")


class Kernel(Generic[P, R]):
    """A function of numbers and arrays for numba to compile; releases the interpreter lock.

    One that is called from Python must make no array and raise nothing; it takes arrays, numbers
    and named tuples of them and returns a number, a tuple of numbers or None. What the first call
    gives says which arrays it takes.
    """

    def __init__(self, function: Callable[P, R], *, forceinline: bool = False) -> None:
        self.function = function
        """The same in plain Python."""
        self._forceinline = forceinline
        self.__doc__ = function.__doc__
        self._run: Callable[..., None] | None = None
        self._kinds: list[list[Kind]] = []
        self._last = threading.local()
        """As `passed` what each thread has passed last: rides in threads of their own take turns,
        and none of them has the arrays of another."""
        _SOURCES.append(function)

    @cached_property
    def dispatcher(self) -> Any:
        """What numba makes of it, for its callers only: without the code to call it from Python,
        which would be a third of the work."""
        import numba

        # two options that numba's own types do not know
        bare: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
        compiled = numba.njit(
            nogil=True, error_model="numpy", forceinline=self._forceinline, **bare
        )
        return compiled(self.function)

    @property
    def _numba_type_(self) -> Any:
        # numba asks an object that it meets in a kernel by this name
        return self.dispatcher._numba_type_

    @cached_property
    def _hints(self) -> dict[str, Any]:
        return typing.get_type_hints(self.function)

    @cached_property
    def _results(self) -> tuple[type, ...]:
        hint = self._hints["return"]
        return () if hint is type(None) else typing.get_args(hint) or (hint,)

    def __call__(self, *arguments: P.args, **named: P.kwargs) -> R:
        if named:
            raise TypeError("A kernel takes its arguments in order, without names.")
        run = self._run or self._prepared(arguments)
        if len(arguments) != len(self._kinds):
            raise TypeError(f"{len(arguments)} arguments in place of {len(self._kinds)}.")
        # most arguments are those of the last call, and their arrays stay where they are
        before = getattr(self._last, "passed", None) or [_NOTHING] * len(arguments)
        last = self._last.passed = [
            was if was.argument is now else _Passed(now, *native.packed(now, kinds))
            for was, now, kinds in zip(before, arguments, self._kinds, strict=True)
        ]
        _, *tables = zip(*last, strict=True)
        found = native.call(run, [b"".join(table) for table in tables], len(self._results))
        values = [kind(value) for kind, value in zip(self._results, found, strict=True)]
        result: Any = tuple(values) if len(values) > 1 else values[0] if values else None
        return result

    def _prepared(self, arguments: tuple[Any, ...]) -> Callable[..., None]:
        """The machine code for such arguments, from the cache or compiled into it."""
        self._kinds = [
            native.kinds(argument, hint)
            for argument, hint in zip(arguments, self._hints.values(), strict=False)
        ]
        made_for = [str(kind) for kinds in self._kinds for kind in kinds]
        file = f"{self.function.__module__}.{self.function.__name__}.bin"
        found = _kept(file, made_for)
        if found is None:
            with cache.alone(file):
                # another may have compiled it while we waited
                found = _kept(file, made_for)
                if found is None:
                    name, text = self._compiled(arguments)
                    found = name, native.emitted(text, name)
                    head = json.dumps({"made_for": made_for, "name": name})
                    cache.keep(file, head.encode() + b"\n" + found[1])
        name, code = found
        self._run = native.loaded(code, name)
        return self._run

    def _compiled(self, arguments: tuple[Any, ...]) -> tuple[str, str]:
        """Name and code, in LLVM's language, of a function that takes arguments from tables, calls
        the kernel and stores its results."""
        from numba import cfunc, types

        dispatcher = self.dispatcher
        kinds = iter([kind for kinds in self._kinds for kind in kinds])
        unpacked, stored = _taken(arguments, kinds), _stored()

        def called(a: Any, w: Any, r: Any, out: Any) -> None:
            stored(dispatcher(*unpacked(a, w, r)), out)

        pointer: Any = types.CPointer
        address, whole, real = map(pointer, (types.voidptr, types.int64, types.float64))
        with compiling():
            made = cfunc(types.void(address, whole, real, real), error_model="numpy")(called)
        return made.native_name, made.inspect_llvm()


def _kept(file: str, made_for: list[str]) -> tuple[str, bytes] | None:
    """Name and machine code of what is kept for such arguments."""
    head, _, code = (cache.read(file) or b"null").partition(b"\n")
    stored = json.loads(head)
    if stored is None or stored["made_for"] != made_for:
        return None
    return stored["name"], code


@contextmanager
def compiling() -> Iterator[None]:
    """To compile kernels in: an index is taken as it is.

    numba lets an index count from an array's end, and asks at every access whether one does. No
    kernel needs that, and it is a quarter of their time. With the environment variable
    PNEUMO_CHECK_BOUNDS set, an index outside its array stops the process instead, see `cache`.
    A numba whose code for it cannot be replaced compiles kernels that ask, see `remark`.
    """
    from numba.core.compiler_lock import global_compiler_lock
    from numba.np import arrayobj

    with global_compiler_lock, ExitStack() as stack:  # nobody else's functions meanwhile
        if hasattr(arrayobj, INDEX):
            stack.enter_context(_replaced(arrayobj, INDEX, _as_it_is))
        stack.enter_context(_once())
        yield


@contextmanager
def _replaced(owner: Any, name: str, value: Any) -> Iterator[None]:
    before = getattr(owner, name)
    setattr(owner, name, value)
    try:
        yield
    finally:
        setattr(owner, name, before)


@contextmanager
def _once() -> Iterator[None]:
    """To optimise code once, in `native.emitted`.

    numba optimises every kernel, with all that it calls, and makes machine code of it that could
    be called alone; nobody calls it. With neither, compiling takes little more than half as long.
    A numba without these names does it all, to the same code in the end.
    """
    try:
        from numba.core.codegen import JITCodeLibrary
        from numba.core.registry import cpu_target

        context: Any = cpu_target.target_context  # ready to compile from here on
        codegen: Any = context.codegen()
        _ = codegen._library_class, codegen.set_env
    except (ImportError, AttributeError):
        yield
        return

    class Uncalled(JITCodeLibrary):  # type: ignore[misc, unused-ignore]
        """Code for callers to take in, which never runs by itself."""

        def _optimize_final_module(self) -> None: ...

        def _finalize_final_module(self) -> None:
            self._finalized = True

        def get_pointer_to_function(self, name: str) -> int:
            finalized: Any = self._ensure_finalized  # numba gives no types
            finalized()
            return 0

    with (
        _replaced(codegen, "_library_class", Uncalled),
        _replaced(codegen, "set_env", lambda name, env: None),
    ):
        yield


def remark() -> str:
    """What is to be said of the kernels just compiled; "" when nothing is."""
    from numba import __version__
    from numba.np import arrayobj

    if hasattr(arrayobj, INDEX):
        return ""
    return (
        f"With numba {__version__} the simulation takes about a third longer than with one that "
        "pneumo has been tested with. The results are the same."
    )


def _as_it_is(context: Any, builder: Any, kind: Any, index: Any, size: Any) -> Any:
    """In place of numba's code for an index into a dimension of some size."""
    from numba import types

    place = context.cast(builder, index, kind, types.intp)
    if cache.CHECKS_BOUNDS:
        with builder.if_then(builder.icmp_unsigned(">=", place, size)):
            native.stop_process(builder)
    return place


def _taken(arguments: tuple[Any, ...], kinds: Iterator[Kind]) -> Any:
    """An intrinsic (addresses, whole, real) that takes arguments like these from the tables."""
    import numba
    from numba.extending import intrinsic
    from numba.np import arrayobj
    from numba.np.numpy_support import from_dtype

    types: Any = numba.types
    populate_array: Any = arrayobj.populate_array

    def typed(value: Any) -> Any:
        if isinstance(value, tuple):
            return types.BaseTuple.from_types([typed(part) for part in value], type(value))
        kind = next(kinds)
        if kind is native.REAL:
            return types.float64
        if kind is native.WHOLE:
            return types.boolean if isinstance(value, bool) else types.int64
        return types.Array(from_dtype(kind.dtype), kind.ndim, "C")

    made = typed(arguments)

    def built(context: Any, builder: Any, kind: Any, load: Callable[[int], Any]) -> Any:
        if isinstance(kind, types.BaseTuple):
            parts = [built(context, builder, part, load) for part in kind]
            return context.make_tuple(builder, kind, parts)
        if not isinstance(kind, types.Array):
            value = load(2 if kind == types.float64 else 1)
            return (
                builder.icmp_signed("!=", value, value.type(0)) if kind == types.boolean else value
            )
        array = context.make_array(kind)(context, builder)
        data = builder.bitcast(load(0), array.data.type)
        shape = [load(1) for _ in range(kind.ndim)]
        size = context.get_abi_sizeof(context.get_data_type(kind.dtype))
        strides = [context.get_constant(types.intp, size)]
        for length in reversed(shape[1:]):
            strides.insert(0, builder.mul(strides[0], length))
        populate_array(array, data, shape, strides, strides[-1], None)
        return array._getvalue()

    def take(typing_context: Any, addresses: Any, whole: Any, real: Any) -> Any:
        def generate(context: Any, builder: Any, signature: Any, tables: Any) -> Any:
            places = [0, 0, 0]

            def load(table: int) -> Any:
                """The next entry of a table."""
                index = context.get_constant(types.intp, places[table])
                places[table] += 1
                return builder.load(builder.gep(tables[table], [index]))

            return built(context, builder, made, load)

        return made(addresses, whole, real), generate

    return intrinsic(take)


def _stored() -> Any:
    """An intrinsic (result, out) that stores a number, or each number of a tuple, as real ones."""
    import numba
    from numba.extending import intrinsic

    types: Any = numba.types

    def store(typing_context: Any, result: Any, out: Any) -> Any:
        def generate(context: Any, builder: Any, signature: Any, given: Any) -> None:
            value, table = given
            parts = [] if result == types.none else [(result, value)]
            if isinstance(result, types.BaseTuple):
                found = [builder.extract_value(value, i) for i in range(len(result))]
                parts = list(zip(result, found, strict=True))
            for place, (kind, part) in enumerate(parts):
                index = context.get_constant(types.intp, place)
                number = context.cast(builder, part, kind, types.float64)
                builder.store(number, builder.gep(table, [index]))

        return types.void(result, out), generate

    return intrinsic(store)


def inlined(function: Callable[P, R]) -> Kernel[P, R]:
    """Compiles a small function into its callers, where slopes nobody asks for are dropped."""
    return Kernel(function, forceinline=True)


def kernel(function: Callable[P, R]) -> Kernel[P, R]:
    """A function that is called from outside, or by kernels."""
    return Kernel(function)


@contextmanager
def watched(report: Callable[[int, int], None]) -> Iterator[None]:
    """Reports, whenever a kernel has been compiled, how many of how many there are."""
    from numba.core import event

    done: dict[str, None] = {}
    names = {f"{f.__module__}.{f.__qualname__}" for f in _SOURCES}

    class Listener(event.Listener):
        def on_start(self, work: Any) -> None: ...

        def on_end(self, work: Any) -> None:
            function = work.data["dispatcher"].py_func
            name = f"{function.__module__}.{function.__qualname__}"
            if name in names and name not in done:
                done[name] = None
                report(len(done), len(names))

    with event.install_listener("numba:compile", Listener()):
        yield
