"""How numba puts the kernel's compiled functions together: optimised once, where Python enters.

As numba comes, every function is linked with all it calls, optimised and made machine code of, and
then once more within each function that calls it. Here a function that only compiled code calls
is lowered and handed on; the entries, which Python calls, are optimised with all they took in
(measured: with the leaner copying and the passes left out, half of the first compile).
"""

import ctypes
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from numba.core import ir
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import Compiler
from numba.core.typed_passes import InlineOverloads, NopythonRewrites
from numba.core.untyped_passes import InlineClosureLikes

_Compiler: Any = Compiler  # untyped
_Scope: Any = ir.Scope

_UNUSED_PASSES = (InlineClosureLikes, InlineOverloads, NopythonRewrites)
"""What they rewrite the kernel has none of: closures, array expressions."""

_environments: list[Any] = []
"""Where numba notes a function's Python environment, which nothing here reads."""


class _Part(JITCodeLibrary):
    """Code of a function and of all it calls, for other code to take in: never run by itself."""

    def finalize(self) -> None:
        """Take in what the function calls; leave optimising to the entry."""
        engine: Any = self._codegen._engine
        for library in dict.fromkeys(self._linking_libraries):
            self._final_module.link_in(library._get_module_for_linking(), preserve=True)
        for variable in self._final_module.global_variables:
            if "NumbaEnv" in variable.name and not engine.is_symbol_defined(variable.name):
                _environments.append(ctypes.c_void_p())
                engine.add_global_mapping(variable, ctypes.addressof(_environments[-1]))
        self._finalized = True


class _Apart(_Part):
    """Code that stays out of line: what is rare would only be optimised again at every call."""

    def add_ir_module(self, ir_module: Any) -> None:
        """Mark the function as it comes."""
        for function in ir_module.functions:
            if not function.is_declaration:
                function.attributes.add("noinline")
        super().add_ir_module(ir_module)  # type: ignore[no-untyped-call]


class _Whole(JITCodeLibrary):
    """Code of an entry, optimised once all it calls is in it."""

    def _optimize_functions(self, ll_module: Any) -> None:
        ll_module.data_layout = self._codegen._data_layout


@contextmanager
def _scopes_shared() -> Iterator[None]:
    """Let copied variables share their scope, which is only asked for new names."""
    had = _Scope.__dict__.get("__deepcopy__")
    _Scope.__deepcopy__ = lambda scope, _memo: scope
    try:
        yield
    finally:
        if had is None:
            del _Scope.__deepcopy__
        else:
            _Scope.__deepcopy__ = had


class _KernelCompiler(_Compiler):  # type: ignore[misc]
    library: Any

    def compile_extra(self, func: Any) -> Any:
        """Compile a function."""
        with _scopes_shared():
            return super().compile_extra(func)

    def define_pipelines(self) -> Any:
        """Return numba's own passes without those the kernel has no use for."""
        state = self.state
        state.library = self.library(state.targetctx.codegen(), state.func_id.func_qualname)
        state.library.enable_object_caching()
        pipelines = super().define_pipelines()
        for pipeline in pipelines:
            pipeline.passes = [p for p in pipeline.passes if p[0] not in _UNUSED_PASSES]
        return pipelines


class PartCompiler(_KernelCompiler):
    """Compile a function for others to take in."""

    library = _Part


class ApartCompiler(_KernelCompiler):
    """Compile a function for others to call."""

    library = _Apart


class EntryCompiler(_KernelCompiler):
    """Compile a function that Python calls."""

    library = _Whole
