"""The codes of findings: what each one means. Shown in the help; every code used anywhere stands here.

Grades: note (good to know), check (look before you trust), stop (no number can be had from this).
"""

CODES: dict[str, str] = {
    # model and estimates (server.analysis.day_fit)
    "downforce-assumed": "No downforce was measured, typed or predicted; a wide default is used.",
    "default-used": "A property of the car was not given; a wide default is used.",
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
    "log-date": "The date in a log is not the day's.",
}
