"""Keys that people write into a neck description and that it does not know: why it needs none, or what it calls them."""

_EITHER_HAND = "not needed: strings are counted from the treble side, whichever hand frets them"
_COUNTED = "not needed: the strings are counted as they are described"
_ALONG = "not needed: only lengths along the strings are judged"
_COMMENT = "not needed: write it as a comment, after a #"
_COURSE = "strings of a pair go by course in each [[strings]], or by strings_per_course with a tuning in one line"
_FAN = "fanned frets go by scale_length_treble_mm and scale_length_bass_mm"
_SETBACK = "the saddle's compensation is saddle_setback_mm"

# By key, in lower case
REASONS: dict[str, str] = {
    **dict.fromkeys(("left_handed", "lefty", "left", "right_handed", "handedness", "hand"), _EITHER_HAND),
    **dict.fromkeys(("string_count", "number_of_strings", "num_strings", "strings_count"), _COUNTED),
    **dict.fromkeys(("nut_width_mm", "nut_width_in", "nut_width", "string_spacing_mm", "string_spacing"), _ALONG),
    **dict.fromkeys(
        ("radius_mm", "radius_in", "radius", "fretboard_radius", "fretboard_radius_mm", "fretboard_radius_in"), _ALONG
    ),
    **dict.fromkeys(("fret_width_mm", "fret_height_mm", "crown_mm", "fretwire", "fret_wire", "neck_angle"), _ALONG),
    **dict.fromkeys(
        ("maker", "brand", "model", "wood", "finish", "notes", "comment", "colour", "color", "year", "owner"), _COMMENT
    ),
    **dict.fromkeys(("units", "unit"), "not needed: the unit is part of each key, as in gauge_mm and gauge_in"),
    **dict.fromkeys(
        ("kind", "type", "instrument"), "not needed: the kind of instrument follows from strings and frets; name says it"
    ),
    "temperament": "not needed: equal steps by divisions_per_octave, any other frets by fret_positions_mm",
    **dict.fromkeys(
        ("a4", "a4_hz", "concert_pitch", "pitch", "pitch_hz", "tuning_hz", "diapason"), "the pitch of A4 is reference_hz"
    ),
    **dict.fromkeys(("fret_count", "number_of_frets", "num_frets", "last_fret"), "the number of frets is frets"),
    **dict.fromkeys(("multiscale", "fanned", "fan", "fanned_frets"), _FAN),
    **dict.fromkeys(
        ("compensation", "compensation_mm", "intonation", "intonation_mm", "bridge_mm", "saddle_mm", "setback"), _SETBACK
    ),
    **dict.fromkeys(("diameter", "diameter_mm", "thickness_mm", "gauge_thou"), "a string's diameter is gauge_mm or gauge_in"),
    **dict.fromkeys(("action", "action_mm", "string_height_mm"), "the height over fret 12 is action_12_mm"),
    **dict.fromkeys(("nut_height_mm", "nut_action_mm", "clearance_mm"), "the gap over fret 1 is first_fret_clearance_mm"),
    **dict.fromkeys(
        ("capo", "capo_at"), "a capo that stays on as the nut is capo_fret; one used on every note goes into [[measured]]"
    ),
    **dict.fromkeys(("wound", "winding", "plain"), 'write construction = "plain" or "wound", and the material'),
    **dict.fromkeys(("core_in_material", "core_type"), "the core of a wound string is core_material"),
    **dict.fromkeys(("courses", "pairs", "double_courses", "doubled"), _COURSE),
    **dict.fromkeys(("tolerance", "tolerance_c"), "the limit on a note is tolerance_cents, that on a fret's place tolerance_mm"),
    **dict.fromkeys(("tension_lb", "tension_lbs", "tension_pounds"), "tensions are in newtons: tension_n is pounds times 4.448"),
    **dict.fromkeys(("tension_kg", "tension_kgf"), "tensions are in newtons: tension_n is kilograms times 9.807"),
    **dict.fromkeys(("drop", "transpose", "tuned_down", "detuned"), "all strings lower or higher go by tuned_semitones"),
}
