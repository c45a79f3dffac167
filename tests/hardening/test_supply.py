"""What the project rests on, and the proof that a changed file, a strange licence or an old version is noticed."""

from __future__ import annotations

import sys
from email.message import Message
from importlib import metadata
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "scripts"))

pytest.importorskip("packaging")

from hardening import supply  # noqa: E402
from hardening.supply import declared, files, licences, lock  # noqa: E402

DIGEST = "0" * 64
GOOD = f"""# a comment

click==8.1.8 --hash=sha256:{DIGEST}
numpy==2.0.0 --hash=sha256:{DIGEST} --hash=sha256:{"1" * 64}
"""


def test_nothing_is_wrong_here():
    lines = supply.run(quick=True, seed=1)
    told = [example for one in lines for example in one.examples]
    # a new release may bring a package along that nobody has looked at: the campaign says so, this test need not
    assert [example for example in told if not example.endswith("not in licences.txt")] == []
    assert sum(one.cases for one in lines) > 1000


def test_a_locked_list_is_read():
    assert lock.read(GOOD) == {"click": ("8.1.8", (DIGEST,)), "numpy": ("2.0.0", (DIGEST, "1" * 64))}


@pytest.mark.parametrize(
    "line",
    [
        "click==8.1.8",
        f"click>=8.1 --hash=sha256:{DIGEST}",
        f"click==8.1.8 --hash=md5:{DIGEST}",
        "-e .",
        "--index-url https://x/",
        f"click @ https://x/click.whl --hash=sha256:{DIGEST}",
        f"Click==8.1.8 --hash=sha256:{DIGEST}",
        "--trusted-host x",
        f"click==8.1.8 --hash=sha256:{DIGEST[:-1]}",
        f"numpy==2.0.0 --hash=sha256:{DIGEST}",
    ],
)
def test_what_is_no_locked_package_is_refused(line):
    with pytest.raises(ValueError, match="line"):
        lock.read(f"{GOOD}{line}\n")


def test_the_lists_of_the_project_name_no_address():
    for path in lock.FOLDER.glob("test-*.txt"):
        assert "://" not in path.read_text(encoding="utf-8")
    assert (lock.FOLDER / "test-3.11.txt").exists()


def report(**changes):
    one = {
        "metadata": {"name": "Some_Thing", "version": "1.0"},
        "download_info": {"archive_info": {"hashes": {"sha256": DIGEST}}},
    }
    return {
        "install": [{**one, **changes}],
        "environment": {"python_version": "3.11", "sys_platform": "linux", "platform_machine": "x86_64"},
    }


def test_a_list_is_written_of_what_the_installer_reports():
    assert lock.read(lock.written(report())) == {"some-thing": ("1.0", (DIGEST,))}


@pytest.mark.parametrize(
    "changes",
    [
        {"is_yanked": True},
        {"is_direct": True},
        {"download_info": {"vcs_info": {}}},
        {"download_info": {"archive_info": {"hashes": {"md5": DIGEST}}}},
    ],
)
def test_what_is_withdrawn_or_has_no_hash_is_not_locked(changes):
    with pytest.raises(ValueError, match="Some_Thing"):
        lock.written(report(**changes))


def test_every_difference_is_told():
    locked = {"a": ("1", ()), "b": ("1", ()), "c": ("1", ()), "pip": ("9", ())}
    assert lock.differences(locked, {"a": "1", "b": "2", "d": "1"}) == [
        "b 2 is installed, 1 is locked",
        "c 1 is locked and not installed",
        "d 1 is installed and not locked",
    ]


def test_only_an_environment_made_from_the_list_must_equal_it(tmp_path):
    assert supply.environment({"strange": "1"}, tmp_path).survivors == 0
    (tmp_path / "made-from-lock").touch()
    assert supply.environment({"strange": "1"}, tmp_path).survivors > 1


def package(folder: Path, record: str | None, **said: str) -> metadata.Distribution:
    """An installed package with these files on record."""
    info = folder / "thing-1.0.dist-info"
    info.mkdir()
    lines = [
        "Metadata-Version: 2.1",
        "Name: thing",
        "Version: 1.0",
        *(f"{name.replace('_', '-')}: {text}" for name, text in said.items()),
    ]
    (info / "METADATA").write_text("\n".join(lines) + "\n", encoding="utf-8")
    if record is not None:
        (info / "RECORD").write_text(record, encoding="utf-8")
    return metadata.PathDistribution(info)


RECORD = "thing.py,sha256=DIGEST,2\nthing-1.0.dist-info/RECORD,,\n"


def test_a_file_that_was_changed_after_installing_is_told(tmp_path):
    (tmp_path / "thing.py").write_text("x\n", encoding="utf-8")
    one = package(tmp_path, RECORD.replace("DIGEST", _digest(tmp_path / "thing.py")))
    assert files.changed(one) == (1, [])
    (tmp_path / "thing.py").write_text("y\n", encoding="utf-8")
    assert "thing.py is not the file that was installed" in files.changed(one)[1][0]
    (tmp_path / "thing.py").unlink()
    assert "cannot be read" in files.changed(one)[1][0]
    assert supply.installed_files([one]).survivors == 1


def _digest(path: Path) -> str:
    """By another way than the code under test: pip's own."""
    from pip._internal.operations.install.wheel import rehash

    return rehash(str(path))[0].partition("=")[2]


def test_a_package_without_a_list_of_its_files_is_told(tmp_path):
    assert files.changed(package(tmp_path, None))[1]


@pytest.mark.parametrize(
    ("said", "expected", "good"),
    [
        ({"License_Expression": "MIT OR GPL-3.0-only"}, "MIT OR GPL-3.0-only", True),
        ({"License_Expression": "MIT AND GPL-3.0-only"}, "MIT AND GPL-3.0-only", False),
        ({"License_Expression": "AGPL-3.0-or-later"}, "AGPL-3.0-or-later", False),
        ({"License": "GNU General Public License v3 (GPLv3)"}, "GPL", False),
        ({"License": "GNU Lesser General Public License v3"}, "LGPL", False),
        ({"Classifier": "License :: OSI Approved :: GNU Affero General Public License v3"}, "AGPL", False),
        ({"License": "BSD 3-Clause License"}, "BSD-3-Clause", True),
        ({"License": "MIT OR Apache-2.0"}, "MIT OR Apache-2.0", True),
        ({"Classifier": "License :: OSI Approved :: Zope Public License"}, "ZPL-2.1", True),
        ({"License": "Proprietary, all rights reserved"}, "unknown", False),
        ({}, "unknown", False),
    ],
)
def test_licences_are_read_and_judged(tmp_path, said, expected, good):
    found = licences.licence(package(tmp_path, None, **said))
    assert found == expected and licences.fits(found) is good


def test_a_licence_is_read_from_its_file_where_the_description_only_names_that(tmp_path):
    made = package(tmp_path, None, **{"License-File": "LICENSE"})
    assert licences.licence(made) == "unknown"
    folder = Path(str(made.locate_file("."))) / f"{made.name}-{made.version}.dist-info" / "licenses"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "LICENSE").write_text("Apache License\nVersion 2.0, January 2004\n")
    assert licences.licence(made) == "Apache-2.0"


def test_a_licence_that_does_not_fit_is_a_survivor_unless_only_tests_use_it():
    found = {
        "a": ("program", "GPL"),
        "b": ("extra", "LGPL"),
        "c": ("tests", "GPL"),
        "d": ("tests", "unknown"),
        "e": ("program", "MIT"),
    }
    assert [one.partition(":")[0] for one in licences.misfits(found)] == ["a", "b", "d"]
    listed = {"e": ("program", "MIT"), "a": ("program", "MIT")}
    assert [one.partition(",")[0] for one in licences.not_listed(found, listed)] == ["a: GPL", "b: LGPL"]


def test_the_table_of_licences_says_what_it_was_made_of():
    found = {"tzfpy": ("program", "MIT"), "x": ("tests", "BSD OR Apache-2.0")}
    assert licences.read(licences.written(found)) == found


def test_a_version_with_a_published_fault_is_told():
    (told,) = supply.faulty({"waitress": "3.0.0", "requests": "2.99", "unheard-of": "1"}, "installed")
    assert told.startswith("waitress 3.0.0 is installed: CVE-2024-49768") and told.endswith("fixed in 3.0.1")


def test_the_lowest_version_that_is_allowed_is_looked_at_too():
    assert declared.floors(["flask>=3.0,<4", "Click", "x==2.1"]) == {"flask": "3.0", "click": "0", "x": "2.1"}
    assert supply.faulty(declared.floors(["flask>=3.0"]), "allowed")


def test_an_installed_version_below_the_declared_one_is_told():
    class Fake(metadata.Distribution):
        version = "1.0"

        def read_text(self, filename):
            return None

        def locate_file(self, path):
            return path

        @property
        def metadata(self):
            return Message()

    assert declared.too_old(["thing>=2"], {"thing": Fake()}) == ["thing 1.0 is installed, >=2 is declared"]
    assert declared.too_old(["thing>=1", "absent>=1"], {"thing": Fake()}) == []


def test_what_nobody_wants_is_told():
    present = declared.distributions()
    wanted = {one.split()[0] for one in declared.undeclared(present)}
    assert set(present) >= {"click", "numpy"} and not {"click", "numpy"} & wanted
    stray = type("One", (), {"version": "1", "requires": None})()
    assert "nobodys 1" in declared.undeclared({**present, "nobodys": stray})


def test_a_list_with_an_old_version_is_a_survivor(tmp_path):
    text = (lock.FOLDER / "test-3.11.txt").read_text(encoding="utf-8")
    assert supply.locked_lists(lock.FOLDER).survivors == 0
    old = [
        line if not line.startswith("waitress==") else f"waitress==2.0 --hash=sha256:{DIGEST}"
        for line in text.splitlines()
    ]
    (tmp_path / "test-3.11.txt").write_text(
        "\n".join(one for one in old if not one.startswith("click==")), encoding="utf-8"
    )
    line = supply.locked_lists(tmp_path)
    assert (
        line.survivors == 2
        and "waitress 2.0 is locked" in line.examples[0]
        and "click is declared" in line.examples[1]
    )
    assert supply.locked_lists(tmp_path / "nothing").survivors == 1
