"""Judgement of measured shots: limits at the target, an archer's usual, comparison. Pure; uses `shots` and `bow`."""
