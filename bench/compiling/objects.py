"""Compiled functions as object files, for a linker: no Python, no numba, nothing but libm.

Leans on the same private parts of numba as `private.py`, so it is there where that way works. A
function is lowered with all it calls as for the kernel, but nothing of it is run here: it is
optimised for the processor it is meant for and written out under a plain name.
"""

from __future__ import annotations

import hashlib
import os
import platform
import tempfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import numba
from llvmlite import binding
from numba.core.llvm_bindings import create_pass_builder

from slipbench.compiling.cache import kernel_folder
from slipbench.compiling.linking import PartCompiler
from slipbench.ground.errors import InputError

_passes: Any = create_pass_builder  # untyped
_compile: Any = numba.njit  # its type stub does not know all options
_config: Any = numba.config
_OPTIONS: dict[str, Any] = {
    "error_model": "numpy",
    "_nrt": False,
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
    "pipeline_class": PartCompiler,
}

BASELINES = {"x86_64": "x86-64", "amd64": "x86-64", "aarch64": "generic", "arm64": "generic"}
"""The least processor of an architecture, which every machine of it is."""

_DIGEST = 32


def processor(is_native: bool) -> tuple[str, str]:
    """Return name and features of the processor to compile for: this one, or any of its kind."""
    if is_native:
        return binding.get_host_cpu_name(), binding.get_host_cpu_features().flatten()
    machine = platform.machine().lower()
    if machine not in BASELINES:
        raise InputError(f"processor {machine}: no portable code is known for it; use --native")
    return BASELINES[machine], ""


def object_code(
    function: Callable[..., Any], signature: Any, name: str, *, is_native: bool = False
) -> bytes:
    """Return a function as an object file.

    Parameters
    ----------
    function : callable    Python source of the numba subset; it makes no arrays
    signature : signature  its arguments and result
    name : str             of the symbol, `int name(result *, void **, arguments)`; an array is
                           passed as two null pointers, number of items, bytes an item, data, shape
                           and strides
    is_native : bool       for this processor, not for any of its architecture

    Raises
    ------
    InputError   where the installed numba is one this was not tried with
    numba's errors, where the function does not compile
    """
    from slipbench.compiling.jit import way_name

    if way_name() != "private":
        raise InputError(
            f"numba {numba.__version__}: objects are written only by the quicker way of compiling "
            "(slipbench.compiling.mode), which does not work with it, or is switched off"
        )
    dispatcher = _compile(signature, **_OPTIONS)(function)
    (overload,) = dispatcher.overloads.values()
    module = overload.library._final_module.clone()
    _keep_alone(module, overload.fndesc.llvm_func_name, name)
    machine = _machine(is_native)
    module.data_layout = str(machine.target_data)
    _optimise(module, machine)
    code: bytes = machine.emit_object(module)
    return code


def kept_object(
    function: Callable[..., Any], signature: Any, name: str, source: Path, is_native: bool
) -> bytes:
    """Return an object as `object_code` does, kept beside the compiled kernel.

    Parameters
    ----------
    source : Path   the file of the function, whose content its name carries; what it calls of the
                    kernel names the folder
    """
    cpu, features = processor(is_native)
    key = hashlib.sha256(f"{cpu} {features} {name}".encode() + source.read_bytes()).hexdigest()
    path = kernel_folder() / f"object-{key[:16]}.o"
    with suppress(OSError):
        content = path.read_bytes()
        code, digest = content[:-_DIGEST], content[-_DIGEST:]
        if hashlib.sha256(code).digest() == digest:
            return code
    code = object_code(function, signature, name, is_native=is_native)
    with suppress(OSError):
        handle, made = tempfile.mkstemp(dir=kernel_folder())
        with open(handle, "wb") as stream:
            stream.write(code + hashlib.sha256(code).digest())
        os.replace(made, path)
    return code


def _keep_alone(module: Any, symbol: str, name: str) -> None:
    """Leave one function to be seen from outside, under a name of its own."""
    for function in module.functions:
        if function.name == symbol:
            function.name, function.linkage = name, "external"
        elif not function.is_declaration:
            function.linkage = "internal"
    for variable in module.global_variables:
        if not variable.is_declaration:
            variable.linkage = "internal"


def _machine(is_native: bool) -> Any:
    cpu, features = processor(is_native)
    target = binding.Target.from_triple(binding.get_process_triple())
    return target.create_target_machine(
        cpu=cpu, features=features, opt=_config.OPT, reloc="pic", codemodel="default"
    )


def _optimise(module: Any, machine: Any) -> None:
    """Run the passes that numba runs for this process, for another machine."""
    cheap = _passes(machine, opt=0)
    manager = cheap.getModulePassManager()
    manager.add_loop_rotate_pass()
    manager.add_instruction_combine_pass()
    manager.add_jump_threading_pass()
    manager.run(module, cheap)
    full = _passes(
        machine,
        opt=_config.OPT,
        loop_vectorize=_config.LOOP_VECTORIZE,
        slp_vectorize=_config.SLP_VECTORIZE,
    )
    full.getModulePassManager().run(module, full)


def data_object(data: Mapping[str, bytes]) -> bytes:
    """Return constant data as an object file.

    Parameters
    ----------
    data : mapping   name of the symbol to its bytes
    """
    machine = _machine(is_native=False)
    lines = [f'target triple = "{machine.triple}"', f'target datalayout = "{machine.target_data}"']
    for name, content in data.items():
        text = "".join(f"\\{byte:02x}" for byte in content)
        lines.append(f'@{name} = constant [{len(content)} x i8] c"{text}", align 16')
    code: bytes = machine.emit_object(binding.parse_assembly("\n".join(lines)))
    return code
