"""`manage.py createowner`: from a terminal, a file or the environment; weak passwords and guesses are refused."""

import pytest
from django.core.management import CommandError, call_command

from studio.config.management.commands import createowner
from studio.records.models import Studio, User

PASSWORD = "four plain words long"  # noqa: S105 - of an invented person


@pytest.fixture
def password_file(tmp_path):
    file = tmp_path / "password"
    file.write_text(PASSWORD + "\n", encoding="utf-8")
    return file


@pytest.fixture
def terminal(monkeypatch):
    """A terminal that answers."""

    def answer(*, name="ada", passwords=(PASSWORD, PASSWORD)):
        given = iter(passwords)
        monkeypatch.setattr(createowner.sys.stdin, "isatty", lambda: True, raising=False)
        monkeypatch.setattr("builtins.input", lambda question: name)
        monkeypatch.setattr(createowner.getpass, "getpass", lambda question: next(given))

    return answer


def test_an_empty_database_gets_a_studio_and_its_owner(db, password_file, capsys):
    call_command("createowner", username="ada", password_file=password_file, studio="Leeward")
    owner = User.objects.get()
    assert owner.check_password(PASSWORD)
    assert (owner.membership.role, owner.membership.studio.name) == ("owner", "Leeward")
    assert "ada owns Leeward" in capsys.readouterr().out


def test_a_studio_that_is_there_gets_another_owner(studio, password_file):
    call_command("createowner", username="ada", password_file=password_file)
    assert User.objects.get().membership.studio == studio


def test_the_password_may_come_from_the_environment(db, monkeypatch):
    monkeypatch.setenv(createowner.PASSWORD_VARIABLE, PASSWORD)
    call_command("createowner", username="ada")
    assert User.objects.get().check_password(PASSWORD)


def test_a_terminal_is_asked(db, terminal):
    terminal(name="ada")
    call_command("createowner")
    assert User.objects.get().username == "ada"


def test_two_different_passwords_make_nothing(db, terminal):
    terminal(passwords=(PASSWORD, "another one"))
    with pytest.raises(CommandError, match="differ"):
        call_command("createowner")
    assert not User.objects.exists()


@pytest.mark.parametrize("options", [{}, {"username": "ada"}])
def test_without_a_terminal_it_says_what_to_give(db, options, monkeypatch):
    monkeypatch.setattr(createowner.sys.stdin, "isatty", lambda: False, raising=False)
    with pytest.raises(CommandError, match="no terminal to ask: give --"):
        call_command("createowner", **options)


def test_a_weak_password_makes_neither_owner_nor_studio(db, tmp_path):
    file = tmp_path / "weak"
    file.write_text("short", encoding="utf-8")
    with pytest.raises(CommandError, match="password"):
        call_command("createowner", username="ada", password_file=file)
    assert not Studio.objects.exists()


def test_of_several_studios_one_must_be_named(studio, outsider_eve, password_file):
    with pytest.raises(CommandError, match="--studio NAME"):
        call_command("createowner", username="ada", password_file=password_file)


def test_a_password_file_that_is_not_there(db, tmp_path):
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("createowner", username="ada", password_file=tmp_path / "gone")


def test_a_name_that_is_taken_is_refused(fitter_bo, password_file):
    with pytest.raises(CommandError, match="username"):
        call_command("createowner", username="bo", password_file=password_file)
