"""The pages of the help by their name in addresses; the words of each stand in web/templates/help/topics."""

TOPICS = {
    "season": "The season",
    "search": "Finding things again",
    "cars": "Cars over days",
    "history": "History, and the way back to the raw file",
    "add": "Adding a day",
    "formats": "Logs that can be read",
    "folder": "The test-day folder",
    "archive": "How the archive keeps things",
    "result": "Reading a result",
    "loads": "Measuring axle loads",
    "heights": "Downforce and ride height",
    "balance": "Balance and L/D",
    "stands": "Stand tests",
    "method": "The method in short",
    "findings": "Findings and their codes",
    "studies": "How well it does: studies",
    "cautions": "Cautions for track testing",
    "glossary": "Words",
}
