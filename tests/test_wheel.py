"""The built wheel, not the checkout: every source file is in it, and its command runs elsewhere."""

import os
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGES = ("forecast", "cli", "sql", "reports", "sample_logs")

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "-w", folder, ROOT]
    subprocess.run(command, check=True)
    (made,) = folder.glob("wearahead-*.whl")
    return made


def test_every_tracked_file_of_the_packages_is_in_the_wheel(wheel: Path) -> None:
    listed = subprocess.run(
        ["git", "ls-files", *PACKAGES], cwd=ROOT, capture_output=True, text=True, check=True
    )
    tracked = set(listed.stdout.split())
    packed = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    assert tracked
    assert tracked == packed


def test_the_command_runs_from_the_wheel_in_another_folder(wheel: Path, tmp_path: Path) -> None:
    place = tmp_path / "env"
    venv.create(place, with_pip=False, system_site_packages=False)
    site = next((place / "lib").glob("python3.*")) / "site-packages"
    zipfile.ZipFile(wheel).extractall(site)
    # the libraries come from the running environment, the project from the wheel alone
    libraries = [entry for entry in sys.path if entry.endswith("site-packages")]
    program = (
        f"import sys; sys.path[1:1] = [{str(site)!r}]; sys.path += {libraries!r};"
        f"import cli; assert cli.__file__.startswith({str(site)!r}), cli.__file__;"
        "sys.argv = ['wearahead', 'demo', '--folder', 'demo'];"
        "from cli.start import main; main()"
    )
    done = subprocess.run(
        [place / "bin" / "python", "-P", "-c", program],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        env={name: value for name, value in os.environ.items() if name != "PYTHONPATH"},
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "demo" / "report.html").stat().st_size > 500_000
