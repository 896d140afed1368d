"""fretcheck: a bench instrument that listens to a fretted neck and tells which part is out of place, and by how much.

The rooms, in the order in which data flows: ``neck`` (what the neck is meant to be), ``audio`` (sound in, plucks cut
from it), ``pitch`` (a pluck becomes a pitch with an uncertainty), ``session`` (plucks become an inspection),
``diagnosis`` (deviations become causes), ``register`` (inspections kept), ``lots`` (many necks), ``report`` (shown),
``cli`` (commands).

The names in ``__all__`` are the public door: functions and what they give back, loaded when first used (`__init__.pyi`).

>>> neck = read_neck("neck.toml")  # doctest: +SKIP
>>> document = inspect(neck, "recordings")  # doctest: +SKIP
>>> document.verdict.decision  # doctest: +SKIP
'pass'
"""

import lazy_loader

__version__ = "0.1.0"

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
