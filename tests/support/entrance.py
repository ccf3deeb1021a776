"""What a guest of the pages brings along."""

PASSWORD = "a long enough word"
TLS = "https://logbook.example"
