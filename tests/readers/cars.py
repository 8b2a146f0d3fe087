"""A made-up car for joining logs to runs."""

from server.testday.values import Axle, Car, Quantity

CAR = Car(
    name="made up",
    mass_kg=Quantity(230.0),
    wheelbase_m=Quantity(1.55),
    front_weight=Quantity(0.48),
    cg_height_m=Quantity(0.29),
    driveline_drag_n=Quantity(6.0),
    driveline_drag_n_per_mps=Quantity(0.3),
    rolling_c0=Quantity(0.02),
    rolling_c1_s_per_m=Quantity(0.00012),
    front=Axle(Quantity(0.4), Quantity(0.23)),
    rear=Axle(Quantity(0.5), Quantity(0.25)),
)
