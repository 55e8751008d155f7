"""Placing copies on stock.

Terms: a window is the stock on the bed at once; a turn is a rotation that the material's rules
allow; clearance is the least gap between two targets.

Knows no machine: `Limits` say what it must respect.  Does not mirror: copies come as they are cut.
"""

from foamwright.stages.arrange.place import Asked, Layout, arrange
from foamwright.stages.arrange.task import Progress

__all__ = ["Asked", "Layout", "Progress", "arrange"]
