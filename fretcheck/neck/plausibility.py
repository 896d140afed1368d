"""Doubts about a description that is allowed but unusual: the user is told, nothing is refused.

Conventions: limits are common practice, no source. A doubt starts with the number of its string or strings.
"""

from fretcheck.neck.description import Neck
from fretcheck.neck.physics import StringConstants, string_constants

LOWEST_TENSION_N, HIGHEST_TENSION_N = 15.0, 300.0
GIVEN_AGAINST_COMPUTED = 1.35  # A given tension this many times over or under the one computed from mass or gauge is doubted


def constants_of(neck: Neck) -> tuple[StringConstants, ...]:
    return tuple(string_constants(neck, number) for number in range(1, len(neck.strings) + 1))


def doubts(neck: Neck) -> tuple[str, ...]:
    """What looks unusual about `neck`."""
    found: list[str] = []
    unknown: dict[str, list[str]] = {}
    for number, (string, constants) in enumerate(zip(neck.strings, constants_of(neck), strict=True), start=1):
        tension = constants.tension_n
        if not LOWEST_TENSION_N <= tension <= HIGHEST_TENSION_N:
            found.append(
                f"String {number}: {string.note} would pull {tension:.0f} N; usual are {LOWEST_TENSION_N:g} to "
                f"{HIGHEST_TENSION_N:g} N. Check note, gauge, material and scale length before tuning up."
            )
        if string.tension_n is not None:
            speed = 2.0e-3 * constants.open_length_mm * neck.open_hz(number)
            computed = constants.mass_per_length_g_m * 1e-3 * speed**2
            if not 1.0 / GIVEN_AGAINST_COMPUTED <= tension / computed <= GIVEN_AGAINST_COMPUTED:
                found.append(
                    f"String {number}: tension_n = {tension:g} is given, but its mass and note make {computed:.0f} N. "
                    "Was it given for another scale length or tuning?"
                )
        if constants.reason is not None:
            unknown.setdefault(constants.reason, []).append(str(number))
    for reason, numbers in unknown.items():
        which = f"String {numbers[0]}" if len(numbers) == 1 else f"Strings {', '.join(numbers)}"
        found.append(f"{which}: stretch and stiffness are only roughly known: {reason}.")
    return tuple(found)
