"""Studies: many points, uncertain inputs, comparison, screening and search.

Nothing in here knows a case file except `sweep`, `caseeval` and `proposals`; the rest works on
plain functions of arrays. Heavy imports happen inside the functions that need them.
"""

from __future__ import annotations
