"""Which method the figures come from."""

from __future__ import annotations

from typing import Final

__all__ = ["METHOD_VERSION"]

# Raised by one whenever the same recording gives other figures than before; stored figures of another number are shown
# as stale until `quiethand reanalyse` has measured them again. 0 stands for those from before this was counted.
METHOD_VERSION: Final = 3
