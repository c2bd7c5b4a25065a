"""What a notebook asks for, as pandas frames with units in the columns' names: samples, shots, a shot's trace.

`import quiethand as qh` gives these names without importing this package; exports take their rows from here too.
"""

from quiethand.notebook.face import launch, measures, read, rejected, shots, trace

__all__ = ["launch", "measures", "read", "rejected", "shots", "trace"]
