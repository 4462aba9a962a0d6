"""`manage.py import_readings FILE --by EMAIL`."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from compliance.readings.models import Import, Reading
from tests.readings.files import csv_file, many, row

pytestmark = pytest.mark.usefixtures("clock")


def run(path, by, **options):
    out, err = StringIO(), StringIO()
    call_command("import_readings", str(path), by=by.email, stdout=out, stderr=err, **options)
    return out.getvalue(), err.getvalue()


def test_it_names_bad_lines_and_says_what_came_in(world, tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(csv_file(row(), row(probe="P9"), row(item="ham", value="9")))
    out, err = run(path, world.manager)
    assert out.strip() == "Readings added: 2; in the record already: 0; rows refused: 1; deviations opened: 1."
    assert "line 3: there is no probe “P9”" in err
    assert Import.objects.get().file_name == "a.csv"


def test_a_dry_run_writes_nothing(world, tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(many(3))
    assert "Good rows: 3 of 3" in run(path, world.manager, dry_run=True)[0]
    assert not Reading.objects.exists()


def test_it_says_what_to_do_about_a_wrong_file_or_person(world, tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"x\n")
    with pytest.raises(CommandError, match="missing: site"):
        run(path, world.manager)
    with pytest.raises(CommandError, match="cannot be read"):
        run(tmp_path / "none.csv", world.manager)
    with pytest.raises(CommandError, match="Nobody has the e-mail"):
        call_command("import_readings", str(path), by="x@example.test")
