"""One sample call of every action: a builder that gives the keywords, from the stock world."""

SAMPLES = {}


def sample(name):
    def register(builder):
        SAMPLES[name] = builder
        return builder

    return register
