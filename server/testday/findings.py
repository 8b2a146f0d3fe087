"""The codes of findings: what each one means. Shown in the help; every code used anywhere stands here.

Grades: note (good to know), check (look before you trust), stop (no number can be had from this).
"""

CODES: dict[str, str] = {
    # model and estimates (server.analysis.day_fit)
    "downforce-assumed": "No downforce was measured, typed or predicted; a wide default is used.",
    "default-used": "A property of the car, its driver or the air was not given; a wide default is used.",
    "no-area": "No drag area can be had; the text says what is missing.",
    "wide-interval": "The 95 % interval is wider than ± 10 %.",
    "noise-search": "The search for the noise's strength did not settle.",
    "wind-limit": "Mean wind above the limit of the published procedures.",
    "gust-limit": "Gusts above the limit of the published procedures.",
    "cross-wind": "Cross wind above 2 m/s.",
    "temperature-drift": "The air's temperature changed by more than 5 K over the day.",
    "one-way": "All coast-downs of a setup go one way, or their direction is unknown.",
    "unbalanced": "Many more coast-downs one way than the other.",
    "few-passes": "Fewer than four coast-downs each way.",
    "low-speed": "The coast-downs start too slowly for drag to matter.",
    "short-coast": "The coast-downs span too little speed.",
    "engine-braking": "More resistance at low speed than any tyre has: the driveline was not free.",
    "pass-unlike-others": "One pass stands far from the others of its setup.",
    "innovations-not-white": "What the fit leaves is correlated in time.",
    "energy-open": "Work of the fitted forces and lost kinetic energy differ.",
    "linear-resistance": "The growth of rolling and driveline drag with speed limits the result.",
    "methods-disagree": "The day's model and the interval method differ by more than they allow.",
    # day folder (server.testday.folder, server.readers.load_day)
    "unknown-key": "A key, column or channel role of the day folder is not known and was left out.",
    "u-unused": "An uncertainty was given for a quantity that the analysis takes as exact.",
    "given-twice": "One thing was given in two ways; the finding says which one is used.",
    "masses-disagree": "The car's mass or front weight disagrees with the masses on its four wheels.",
    "weather-interpolated": "A weather reading lacks a value that others have; it is interpolated in time.",
    "pressure-altitude": "Air pressure and the venue's altitude disagree; it may be reduced to sea level.",
    "humidity-share": "Humidity is below 1 %, as if a share of 1 had been written as per cent.",
    "prediction-setup": "A predicted case belongs to a setup that the day does not define.",
    "log-shared": "Two runs take the same stretch of one log, so its passes count twice.",
    "time-column": "A log lacks the column that [channels] names as the time; another was found in it.",
    "log-date": "The date in a log is not the day's.",
}
