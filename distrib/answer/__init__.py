"""The answer to a case: the engine figure over its speeds with band, verdicts and first trims.

One figure drives every word: deviation, band, chance, verdict, leanest cylinder and trim all come
from one-dimensional gas dynamics through the cycle, solved at every speed, nominal and drawn. The
commands parse and print; they compute nothing of this.

`distrib.answer(case)` is a public name, and the package of that name must not hide it: the package
is callable, and loads the solver when it is first called.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from distrib.answer.run import Answer, Worst, answer, answers

__all__ = ["Answer", "Worst", "answer", "answers"]


class _CallablePackage(ModuleType):
    def __call__(self, *args: Any, **options: Any) -> Answer:
        from distrib.answer.run import answer

        return answer(*args, **options)


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from distrib.answer import run

    return getattr(run, name)


sys.modules[__name__].__class__ = _CallablePackage
