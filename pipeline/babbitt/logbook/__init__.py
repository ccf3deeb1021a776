"""The folder that holds a team's data: settings, stores, run files."""
