"""What each page and report tells: reads the logbook once and returns values to be drawn."""
