from django.urls import reverse

from tests.world import PASSWORD


def test_signing_in_and_out(world, client):
    answer = client.post(reverse("sign_in"), {"username": "Mara.Holt@example.test", "password": PASSWORD})
    assert answer.url == reverse("home")
    assert client.get(reverse("account")).status_code == 200
    assert client.get(reverse("sign_out")).status_code == 405
    client.post(reverse("sign_out"))
    assert reverse("sign_in") in client.get(reverse("account")).url


def test_a_wrong_password_is_told_plainly_and_keeps_the_email(world, client):
    page = client.post(
        reverse("sign_in"), {"username": "mara.holt@example.test", "password": "nonsense"}
    ).content.decode()
    assert "do not belong together" in page and "mara.holt@example.test" in page and "nonsense" not in page


def test_signing_in_leads_back_to_the_page_asked_for_but_never_off_the_site(world, client):
    given = {"username": "mara.holt@example.test", "password": PASSWORD}
    assert client.post(reverse("sign_in") + "?next=/account/", given).url == "/account/"
    client.post(reverse("sign_out"))
    assert client.post(reverse("sign_in") + "?next=//elsewhere.test/", given).url == reverse("home")


def test_neither_name_nor_email_is_changed_in_ones_own_account(world, as_person):
    given = {"name": "Mara Holt-Lee", "initials": "ML", "email": "other@example.test"}
    assert as_person(world.manager).post(reverse("account"), given).status_code == 405
    world.manager.refresh_from_db()
    assert (world.manager.name, world.manager.email) == ("Mara Holt", "mara.holt@example.test")


def test_changing_the_password_asks_for_the_old_one_and_keeps_one_signed_in(world, as_person):
    client = as_person(world.manager)
    new = {"new_password1": "brisk-orchard-52", "new_password2": "brisk-orchard-52"}
    assert client.post(reverse("account_password"), {"old_password": "wrong", **new}).status_code == 200
    assert client.post(reverse("account_password"), {"old_password": PASSWORD, **new}).status_code == 302
    assert client.get(reverse("account")).status_code == 200
