"""What the demo may do that nothing else may."""

import subprocess

from django.conf import settings

PRETENDING = "compliance/overview/demo/"


def test_only_the_demo_says_when_its_records_were_made():
    found = subprocess.run(
        ["git", "grep", "-l", "clock.pretend", "--", "compliance", "sites", "shared"],
        cwd=settings.BASE_DIR, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert found.stdout.split()
    assert [name for name in found.stdout.split() if not name.startswith(PRETENDING)] == []
