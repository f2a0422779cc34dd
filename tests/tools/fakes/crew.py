"""A crew for drops that nobody watches."""


class SilentCrew:
    """A crew that agrees, and can act on what it is told."""

    def __init__(self, **actions):
        self.actions = actions
        self.told = []

    def _tell(self, name):
        self.told.append(name)
        action = self.actions.get(name)
        if action:
            action()

    def met(self, instrument, health):
        self.instrument, self.health = instrument, health
        self._tell("met")

    def found(self, findings):
        self.findings = findings
        self._tell("found")

    def agree(self, setup):
        self._tell("agree")
        return True

    def armed(self, by_hand):
        self._tell("armed")

    def count(self, left_s):
        self._tell("count")

    def released(self, opened):
        self._tell("released")

    def block(self, block):
        if "block" in self.actions:
            self._tell("block")

    def received(self, since_release_s, of_s):
        self._tell("received")

    def ending(self, more):
        self._tell("ending")
