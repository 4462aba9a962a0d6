ROUNDS = 3
BATHS = 1
IN_BATH = 3  # probes
SHOWN = ("8.0", *["0.2"] * 5)  # by each of them
TRIES = 24  # passwords
