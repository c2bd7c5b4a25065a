"""A sensor and an archer in software. It speaks the wire format; nothing above the wire format knows of it, and it
shares no physics with the analysis, so that the analysis can be tested against it."""
