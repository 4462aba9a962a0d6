"""What squashed migrations are made of."""

from django.db.migrations import CreateModel
from django.db.migrations.operations.base import Operation


class CreateModels(Operation):
    """Several `CreateModel` at once, by the label of their app: after each by itself Django would render most models anew."""

    reversible = False

    def __init__(self, **models: list[CreateModel]):
        self.models = [(app, each) for app, creations in models.items() for each in creations]

    def state_forwards(self, app_label, state):
        state.__dict__.pop("apps", None)  # rendered again, once, when the first table is made
        for app, each in self.models:
            each.state_forwards(app, state)

    def database_forwards(self, app_label, schema_editor, from_state, to_state):
        for app, each in self.models:
            each.database_forwards(app, schema_editor, from_state, to_state)

    def describe(self):
        return "; ".join(each.describe() for _, each in self.models)
