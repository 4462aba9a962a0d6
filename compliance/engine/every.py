"""An interval that a clock set back neither stops nor multiplies."""

from datetime import timedelta

from celery.schedules import schedstate, schedule


class Every(schedule):
    """Due every so many seconds. Where the last time lies ahead, the clock has been set back: it is due now, once."""

    def __init__(self, seconds: float, **kwargs):
        super().__init__(run_every=timedelta(seconds=seconds), **kwargs)

    def is_due(self, last_run_at):
        if self.maybe_make_aware(last_run_at) > self.now():
            return schedstate(True, self.run_every.total_seconds())
        return super().is_due(last_run_at)

    def __reduce__(self):
        return self.__class__, (self.run_every.total_seconds(),)
