"""One pluck in, one `NoteReading` out: coarse pitch, partials, stiff-string fit, uncertainty, quality flags."""
