"""From a built neck to cents: the forward model other rooms ask for."""

from fretcheck.diagnosis.as_designed import expected_cents

__all__ = ["expected_cents"]
