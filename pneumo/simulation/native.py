"""Kernels as machine code, run without the compiler, which takes longer to load than most runs.

A kernel that is called from outside becomes one object of machine code, all the kernels it calls
included. Its arguments are passed in three tables: addresses of arrays, whole numbers (lengths of
the arrays among them) and real numbers. Such code has nothing of Python in it: it can neither make
an array nor raise an error, and `emitted` refuses code that would.
"""

from __future__ import annotations

import ctypes
import struct
import typing
from collections.abc import Callable, Iterable
from functools import cache
from typing import Any, NamedTuple

import llvmlite.binding as llvm
import numpy as np

_NOTHING_TO_COUNT = """
define void @NRT_incref(ptr %array) alwaysinline { ret void }
define void @NRT_decref(ptr %array) alwaysinline { ret void }
"""
"""Arrays belong to the caller, who keeps them: the compiled code need not count who uses them."""

_LIBRARY = ("acos", "asin", "atan", "atan2", "cos", "exp", "log", "log10", "log1p", "memcpy",
            "memmove", "memset", "pow", "sin", "sqrt", "tan", "tanh")  # fmt: skip
"""Functions of the C library, which every process has."""


class Kind(NamedTuple):
    """What one array or number among the arguments is."""

    ndim: int
    """-1: a number."""
    dtype: np.dtype[Any]
    """Of a number: whole or real."""

    def __str__(self) -> str:
        return f"{self.ndim} {self.dtype.descr}"


WHOLE, REAL = Kind(-1, np.dtype(np.int64)), Kind(-1, np.dtype(np.float64))


class Packed(NamedTuple):
    """One argument as compiled code takes it: its part of each table, as bytes."""

    addresses: bytes
    whole: bytes
    real: bytes


def kinds(value: Any, hint: Any) -> list[Kind]:
    """Kinds of an argument with such a type hint; a named tuple is taken apart."""
    if isinstance(value, tuple):
        hints = _hints(type(value))
        fields = type(value)._fields  # type: ignore[attr-defined]
        return [
            kind
            for field, part in zip(fields, value, strict=True)
            for kind in kinds(part, hints[field])
        ]
    if isinstance(value, np.ndarray):
        return [Kind(value.ndim, value.dtype)]
    return [REAL if hint is float else WHOLE]


_hints = cache(typing.get_type_hints)


def packed(value: Any, expected: list[Kind]) -> Packed:
    """Packs an argument. The caller keeps its arrays as long as the result is used.

    Raises
    ------
    TypeError
        When an array is not what the code was compiled for.
    """
    addresses: list[int] = []
    whole: list[int] = []
    real: list[float] = []
    place = 0
    waiting = [value]
    while waiting:
        value = waiting.pop()
        if isinstance(value, tuple):
            waiting.extend(reversed(value))
            continue
        kind = expected[place] if place < len(expected) else None
        place += 1
        if kind is None or isinstance(value, np.ndarray) != (kind.ndim >= 0):
            raise TypeError(f"{type(value).__name__} in place of {kind or 'nothing'}.")
        if isinstance(value, np.ndarray):
            if (value.ndim, value.dtype) != kind or not value.flags.c_contiguous:
                raise TypeError(
                    f"Array of kind {Kind(value.ndim, value.dtype)} in place of {kind}, whole."
                )
            addresses.append(value.ctypes.data)
            whole.extend(value.shape)
        elif kind is REAL:
            real.append(float(value))
        else:
            if isinstance(value, float):
                raise TypeError(f"{value!r} in place of a whole number.")
            whole.append(int(value))
    if place != len(expected):
        raise TypeError(f"{place} arrays and numbers in place of {len(expected)}.")
    return Packed(
        struct.pack(f"{len(addresses)}q", *addresses),
        struct.pack(f"{len(whole)}q", *whole),
        struct.pack(f"{len(real)}d", *real),
    )


def call(function: Callable[..., None], tables: Iterable[bytes], results: int) -> list[float]:
    """Calls what `loaded` returned with its three tables; its results as real numbers."""
    found = (ctypes.c_double * results)()
    function(*tables, found)
    return list(found)


def machine() -> str:
    """The code generator and the processor that machine code is made by and for."""
    version = ".".join(map(str, llvm.llvm_version_info))
    return f"{version} {llvm.get_process_triple()} {llvm.get_host_cpu_name()} {_features()}"


def _features() -> str:
    features: str = llvm.get_host_cpu_features().flatten()
    return features


def emitted(code: str, name: str) -> bytes:
    """Machine code of one function of a module in LLVM's language, and of what it calls.

    Raises
    ------
    ValueError
        When the code needs something of Python: it makes an array, or may raise an error.
    """
    target = _target()
    module = llvm.parse_assembly(_NOTHING_TO_COUNT)
    module.triple = target.triple
    module.link_in(llvm.parse_assembly(code))
    for function in module.functions:
        if not function.is_declaration and function.name != name:
            function.linkage = llvm.Linkage.internal
    builder = llvm.create_pass_builder(target, llvm.create_pipeline_tuning_options(speed_level=3))
    builder.getModulePassManager().run(module, builder)
    foreign = sorted(
        function.name
        for function in module.functions
        if function.is_declaration
        and not function.name.startswith("llvm.")
        and function.name not in _LIBRARY
    )
    if foreign:
        raise ValueError(
            "A kernel called from outside must not make arrays, copy whole arrays or raise; "
            f"this one needs {', '.join(foreign)}."
        )
    machine_code: bytes = target.emit_object(module)
    return machine_code


def stop_process(builder: Any) -> None:
    """Adds to code under construction what ends the process at once when it is reached."""
    from llvmlite import ir

    nothing = ir.FunctionType(ir.VoidType(), ())
    builder.call(builder.module.declare_intrinsic("llvm.trap", fnty=nothing), ())


def loaded(machine_code: bytes, name: str) -> Callable[..., None]:
    """The function of an object made by `emitted`, for `call`."""
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _target())
    engine.add_object_file(llvm.ObjectFileRef.from_data(machine_code))
    engine.finalize_object()
    function = ctypes.CFUNCTYPE(None, *[ctypes.c_void_p] * 4)(engine.get_function_address(name))
    function.engine = engine  # type: ignore[attr-defined]  # the code goes with its engine
    return function


def _target() -> Any:
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    return llvm.Target.from_triple(llvm.get_process_triple()).create_target_machine(
        cpu=llvm.get_host_cpu_name(),
        features=_features(),
        opt=3,
        reloc="default",
        codemodel="jitdefault",
        jit=True,
    )
