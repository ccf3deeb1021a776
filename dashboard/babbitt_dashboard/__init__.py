"""The pages: Dash over the public functions of pipeline; nothing is computed here."""
