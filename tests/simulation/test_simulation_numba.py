"""What pneumo uses of numba and llvmlite that their documentation does not promise."""

from __future__ import annotations

import ast
import importlib
import importlib.metadata
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pneumo.simulation import cache, jit, native

USED = {
    "numba.core.base.BaseContext.cast": "indices and results become other numbers",
    "numba.core.base.BaseContext.get_abi_sizeof": "arrays are laid out",
    "numba.core.base.BaseContext.get_constant": "places in the tables of arguments",
    "numba.core.base.BaseContext.get_data_type": "arrays are laid out",
    "numba.core.base.BaseContext.make_array": "arrays are taken from the tables of arguments",
    "numba.core.base.BaseContext.make_tuple": "named tuples of arguments are put together",
    "numba.core.ccallback.CFunc.inspect_llvm": "the code of a kernel is taken out",
    "numba.core.ccallback.CFunc.native_name": "a kernel is found in its code",
    "numba.core.codegen.JITCodeLibrary._finalize_final_module": "inner kernels get no machine code",
    "numba.core.codegen.JITCodeLibrary._optimize_final_module": "code is optimised only once",
    "numba.core.codegen.JITCPUCodegen._library_class": "code is optimised only once",
    "numba.core.codegen.JITCPUCodegen.set_env": "inner kernels get no machine code",
    "numba.core.compiler_lock.global_compiler_lock": "nobody else compiles while indices differ",
    "numba.core.dispatcher.Dispatcher._numba_type_": "a kernel is known within another",
    "numba.core.event.Listener": "kernels compiled are counted",
    "numba.core.event.install_listener": "kernels compiled are counted",
    "numba.core.options.DefaultOptions.forceinline": "small kernels go into their callers",
    "numba.core.options.DefaultOptions.no_cfunc_wrapper": "nothing is compiled that nobody calls",
    "numba.core.options.DefaultOptions.no_cpython_wrapper": "nothing is compiled that nobody calls",
    "numba.core.types.BaseTuple.from_types": "named tuples of arguments are typed",
    "numba.core.registry.cpu_target.target_context": "numba's compiler is made ready",
    "numba.extending.intrinsic": "arguments are taken from tables, results put into one",
    "numba.np.arrayobj.fix_integer_index": "an index is taken as it is",
    "numba.np.arrayobj.populate_array": "arrays are taken from the tables of arguments",
    "numba.np.numpy_support.from_dtype": "arrays are typed",
    "llvmlite.binding.Linkage.internal": "only the kernel itself can be called",
    "llvmlite.binding.ObjectFileRef.from_data": "machine code is loaded from a file",
    "llvmlite.binding.Target.from_triple": "machine code is made for this machine",
    "llvmlite.binding.create_mcjit_compiler": "machine code is loaded from a file",
    "llvmlite.binding.create_pass_builder": "code is optimised",
    "llvmlite.binding.create_pipeline_tuning_options": "code is optimised",
    "llvmlite.binding.get_host_cpu_features": "the processor is known",
    "llvmlite.binding.get_host_cpu_name": "the processor is known",
    "llvmlite.binding.get_process_triple": "the system is known",
    "llvmlite.binding.initialize_native_asmprinter": "machine code is made",
    "llvmlite.binding.initialize_native_target": "machine code is made",
    "llvmlite.binding.llvm_version_info": "the maker of machine code is known",
    "llvmlite.binding.parse_assembly": "code is read",
    "llvmlite.binding.executionengine.ExecutionEngine.add_object_file": "machine code is loaded",
    "llvmlite.binding.executionengine.ExecutionEngine.finalize_object": "machine code is loaded",
    "llvmlite.binding.executionengine.ExecutionEngine.get_function_address": "a kernel is called",
    "llvmlite.binding.targets.TargetMachine.emit_object": "machine code is made",
    "llvmlite.ir.FunctionType": "an index outside stops the process",
    "llvmlite.ir.VoidType": "an index outside stops the process",
}
"""Full name -> what it is used for."""

PROMISED = {"njit", "cfunc", "__version__", "types"}
"""Names at the top of numba that its documentation has."""


def missing(used: dict[str, str]) -> list[str]:
    """A sentence for each name that is not there."""
    return [
        f"{name} is missing in {name.partition('.')[0]} "
        f"{importlib.metadata.version(name.partition('.')[0])}; by it {purpose} "
        "(pneumo/simulation/jit.py, native.py)."
        for name, purpose in used.items()
        if not is_there(name)
    ]


def is_there(name: str) -> bool:
    parts = name.split(".")
    found: Any = None
    for number in range(len(parts), 0, -1):
        try:
            found = importlib.import_module(".".join(parts[:number]))
        except ImportError:
            continue
        break
    for part in parts[number:]:
        if not hasattr(found, part):
            return False
        found = getattr(found, part)
    return found is not None


def test_everything_is_there() -> None:
    assert missing(USED) == []


def test_what_is_missing_is_named() -> None:
    (told,) = missing({"numba.np.arrayobj.no_such": "indices are taken as they are"})
    assert told.startswith("numba.np.arrayobj.no_such is missing in numba ")
    assert "by it indices are taken as they are" in told


@pytest.mark.parametrize("module", [jit, native])
def test_every_name_used_stands_in_the_list(module: Any) -> None:
    """Names imported from numba and llvmlite, and what is taken off them by a dot."""
    tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
    known: dict[str, str] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            known |= {a.asname or a.name: f"{node.module}.{a.name}" for a in node.names}
        elif isinstance(node, ast.Import):
            known |= {a.asname or a.name: a.name for a in node.names}
    theirs = {
        name: full
        for name, full in known.items()
        if full.partition(".")[0] in ("numba", "llvmlite")
    }
    assert theirs
    used = set(theirs.values()) | {
        f"{theirs[node.value.id]}.{node.attr}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.value.id in theirs
    }
    unlisted = {
        name
        for name in used
        if not any(f"{other}.".startswith(f"{name}.") or f"{name}.".startswith(f"{other}.")
                   for other in USED)
        and name not in {f"numba.{top}" for top in PROMISED}
        and not name.startswith("numba.types.")
    }  # fmt: skip
    assert unlisted == set()


@jit.kernel
def last_of(values: Any, place: int) -> float:
    """Takes one value."""
    return values[place]


def test_without_the_change_to_indices_kernels_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache, "CACHE", tmp_path)
    assert jit.remark() == ""
    values = np.array([1.5, 2.5, 4.0])
    assert jit.Kernel(last_of.function)(values, 2) == 4.0
    (tmp_path / "test_simulation_numba.last_of.bin").unlink()
    monkeypatch.setattr(jit, "INDEX", "gone")
    assert "takes about a third longer" in jit.remark()
    # numba's own code for an index: it may count from the end
    assert jit.Kernel(last_of.function)(values, -1) == 4.0


@jit.kernel
def twice_last(values: Any, place: int) -> float:
    """Calls another."""
    return 2.0 * last_of(values, place)


def test_where_code_cannot_be_optimised_once_kernels_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache, "CACHE", tmp_path)
    from numba.core import codegen

    monkeypatch.delattr(codegen.JITCPUCodegen, "set_env")
    assert jit.Kernel(twice_last.function)(np.array([1.5, 4.0]), 1) == 8.0


def test_what_others_compile_meanwhile_and_afterwards_runs() -> None:
    import numba

    with jit.compiling():
        pass
    assert numba.njit(lambda x: x + 1.0)(2.0) == 3.0
