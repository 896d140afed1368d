"""fretcheck: a bench instrument that listens to a fretted neck and tells which part is out of place, and by how much.

The rooms, in the order in which data flows: ``neck`` (what the neck is meant to be), ``audio`` (sound in, plucks cut
from it), ``pitch`` (a pluck becomes a pitch with an uncertainty), ``session`` (plucks become an inspection),
``diagnosis`` (deviations become causes), ``register`` (inspections kept), ``lots`` (many necks), ``report`` (shown),
``cli`` (commands).
"""

__version__ = "0.1.0"
