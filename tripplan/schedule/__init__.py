"""Trip, region and van to a plan: options of a day, exact search, timetable, reasons when there is none."""
