"""Conversions that more than one room needs."""

import math

MM_PER_INCH = 25.4
CENTS_PER_NEPER = 1200.0 / math.log(2.0)  # 1731.234 c: a length shorter by the small fraction x sounds sharp by this times x
