"""The codes of findings: what each one means. Shown in the help; every code used anywhere stands here.

Grades: note (good to know), check (look before you trust), stop (no number can be had from this).
"""

CODES: dict[str, str] = {
    # model and estimates (server.analysis.day_fit)
    "downforce-assumed": "No downforce was measured, typed or predicted; a wide default is used.",
    "default-used": "A property of the car was not given; a wide default is used.",
}
