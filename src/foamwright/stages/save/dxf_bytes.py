"""A DXF document as text that is the same wherever and whenever it is written.

Does not make documents: see `dxf.py` and `exchange.py`.
"""

from __future__ import annotations

import io
from collections.abc import Callable

import ezdxf
from ezdxf.document import Drawing


def fixed_text(make: Callable[[], Drawing]) -> str:
    """What `make` gives as text with newlines only: no clock, no machine, no new GUIDs."""
    options = ezdxf.options  # type: ignore[attr-defined]  # documented, but not exported by name
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        stream = io.StringIO()
        make().write(stream)
    finally:
        options.write_fixed_meta_data_for_testing = before
    return stream.getvalue().replace("\r\n", "\n")
