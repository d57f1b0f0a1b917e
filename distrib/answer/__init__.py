"""The answer to a case: the engine figure over its speeds with band, verdicts and first trims.

One figure drives every word: deviation, band, chance, verdict, leanest cylinder and trim all come
from one-dimensional gas dynamics through the cycle, solved at every speed, nominal and drawn. The
commands parse and print; they compute nothing of this.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import Any

from distrib.answer.run import Answer, Worst, answer, answers

__all__ = ["Answer", "Worst", "answer", "answers"]


class _CallablePackage(ModuleType):
    """`distrib.answer(case)` is a public name, and the package of that name must not hide it."""

    def __call__(self, *args: Any, **options: Any) -> Answer:
        return answer(*args, **options)


sys.modules[__name__].__class__ = _CallablePackage
