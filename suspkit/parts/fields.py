"""What the fields of a vehicle file may hold: bounds that only a slip breaks.

Each is far wider than any side-by-side, so nothing real is refused; a wrong unit, a slipped decimal
point or a lost sign is. Our own judgement, no source. They hold for files, and for the
turns, gaps, rings and clicks of a set-up given in Python too.
"""

from typing import Annotated

from suspkit.units import Unit

Span = Annotated[float, Unit("m", gt=0, ge=0.3, le=10)]  # wheelbase, track
Place = Annotated[float, Unit("m", ge=-10, le=10)]  # where something is on the vehicle
Size = Annotated[float, Unit("m", gt=0, ge=0.001, le=3)]  # a part's length
Thin = Annotated[float, Unit("m", ge=0, le=3)]  # a part's length that may be nothing
Shift = Annotated[float, Unit("m", ge=-3, le=3)]  # a place on a part, from another
Gap = Annotated[float, Unit("m", ge=0, le=0.6)]  # no thread is longer
Ring = Annotated[float, Unit("m", ge=-0.6, le=0.6)]  # a place on it
Pitch = Annotated[float, Unit("m", kind="pitch", gt=0, ge=1e-4, le=0.025)]
Volume = Annotated[float, Unit("m**3", gt=0, le=0.02)]
Weighed = Annotated[float, Unit("kg", gt=0, le=5000)]  # a scale reading or a corner's own mass
Carried = Annotated[float, Unit("kg", ge=0, le=5000)]
Rate = Annotated[float, Unit("N/m", gt=0, ge=100, le=1e7)]
TyreDamping = Annotated[float, Unit("N*s/m", ge=0, le=1e5)]
Force = Annotated[float, Unit("N", ge=0, le=1e6)]
Pressure = Annotated[float, Unit("Pa", ge=0, le=1e7)]  # gauge
Temperature = Annotated[float, Unit("K", ge=200, le=450)]
Modulus = Annotated[float, Unit("Pa", kind="modulus", gt=0, ge=1e9, le=1e12)]
Ratio = Annotated[float, Unit("", gt=0, le=10)]
LoadFactor = Annotated[float, Unit("", gt=0, le=50)]
Turns = Annotated[float, Unit("", kind="turns", ge=0, le=1000)]
Clicks = Annotated[float, Unit("", kind="clicks", ge=0, le=1000)]
Bore = Annotated[float, Unit("m", gt=0, le=0.05)]  # a passage for oil
Fine = Annotated[float, Unit("m", ge=0, le=0.05)]  # a part of one
HalfAngle = Annotated[float, Unit("rad", gt=0, le=1.5)]
Area = Annotated[float, Unit("m**2", gt=0, le=0.01)]  # of a passage
OilDensity = Annotated[float, Unit("kg/m**3", gt=0, ge=500, le=2000)]
Viscosity = Annotated[float, Unit("m**2/s", gt=0, ge=1e-6, le=0.01)]
Share = Annotated[float, Unit("", kind="ratio", gt=0, le=1)]
