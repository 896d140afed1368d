"""Necks as they are: a generator that shares nothing with the diagnosis or the synthesis of sound but `fretcheck.neck`."""
