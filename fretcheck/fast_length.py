"""Lengths for which a Fourier transform is fast.

scipy has the same, but loading it takes longer than hearing a string does: the processes that read recordings, and a live session
before its first note, do without it.
"""


def fast_length(at_least: int) -> int:
    """The smallest product of twos, threes and fives that is no less than `at_least`.

    Raises ValueError when `at_least` is below 1.
    """
    if at_least < 1:
        raise ValueError(f"a length of {at_least} can't be transformed")
    best = 1 << (at_least - 1).bit_length()
    fives = 1
    while fives < best:
        threes = fives
        while threes < best:
            twos = -(-at_least // threes)
            best = min(best, threes << (twos - 1).bit_length())
            threes *= 3
        fives *= 5
    return best
