"""Questions that take many stances or runs: sweep, tolerance, fit, choose, advise."""
