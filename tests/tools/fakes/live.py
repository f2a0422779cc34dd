"""A live window that only notes what it is told."""


class Noting:
    """Stands for `live.LiveFeed`."""

    def __init__(self):
        self.told = []
        self.gone = False

    def meet(self, instrument, calibration):
        pass

    def send(self, kind, **what):
        self.told.append((kind, what))

    def block(self, block):
        self.told.append(("block", {"number": block.number}))

    def close(self, *, with_window=False):
        pass
