"""Archer, bow, arrow and target: the set-up file, the draw-force curve, the launch model, inertia. Pure but for reading
a set-up file's text."""
