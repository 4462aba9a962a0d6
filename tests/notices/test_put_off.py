"""What waits for its next try when a clock is set back."""

from datetime import timedelta

import pytest
from django.utils import timezone

from compliance.notices.models import Notice, State
from compliance.notices.sending import ready
from compliance.notices.verdicts import wait


@pytest.mark.parametrize("hours, taken", [(-1, True), (0, False), (-13, True)])
def test_a_try_put_off_before_a_clock_was_set_back_comes_at_once_and_quiet_hours_hold(world, hours, taken):
    moment = timezone.now()

    def write(about, **fields):
        return Notice.objects.create(
            kind="due", person=world.manager, about=about, site=world.site, subject=about, text="Check it",
            html="<p>Check it</p>", link="/", in_page=True, state=State.WAITING, **fields,
        )  # fmt: skip

    tried = write("tried", attempts=1, answered_at=moment, not_before=moment + wait(1))
    write("quiet", not_before=moment + timedelta(minutes=1))
    assert list(ready(moment + timedelta(hours=hours))) == [tried] * taken
