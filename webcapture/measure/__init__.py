"""Lanes to numbers: lines, lanes, spots, Rf and its uncertainty. numpy and scipy only.

Everything here works in the strip's own frame: ``s`` millimetres along it from the origin end, ``t`` across it.
"""
