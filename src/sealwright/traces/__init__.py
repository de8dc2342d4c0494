"""Recorded and live particle counts: files and lines in, traces out. An edge: it reads files, and writes none.

`Mapping` says which column is which; `columns_of` shows a file for choosing; `read_trace` reads it in bounded memory.
"""

from sealwright.traces.files import AMBIENT, MASK, NEITHER, Mark, TraceFile, read_trace, to_trace
from sealwright.traces.mapping import Mapping
from sealwright.traces.preview import Preview, columns_of

__all__ = ["AMBIENT", "MASK", "NEITHER", "Mapping", "Mark", "Preview", "TraceFile", "columns_of", "read_trace",
           "to_trace"]
