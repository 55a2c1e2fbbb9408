"""The package as a whole: quick to import, whole in its wheel, tidy at the top."""

import configparser
import email
import os
import re
import socket
import subprocess
import sys
import sysconfig
import tarfile
import time
import tomllib
import zipfile
from pathlib import Path

import pytest
from packaging.requirements import Requirement

import suspkit

ROOT = Path(__file__).parents[2]
TEST_COMMAND = (
    'python3 -m venv .venv && .venv/bin/pip install -q -e ".[test]" && .venv/bin/python -m pytest'
)


def run(*command, cwd=ROOT, **options):
    options = {"capture_output": True, "text": True, "timeout": 300} | options
    return subprocess.run([str(part) for part in command], cwd=cwd, **options)


# --- import ---------------------------------------------------------------------------------------

HEAVY = ("matplotlib", "ipywidgets", "pint", "pydantic", "scipy", "pandas", "numba")


def test_import_is_light_and_quick():
    # The processor's time: this machine may be busy.
    code = (
        "import sys, time; start = time.process_time(); import suspkit; "
        "print(time.process_time() - start); print(*sys.modules)"
    )
    seconds = []
    for _ in range(5):
        done = run(sys.executable, "-c", code)
        assert done.returncode == 0, done.stderr
        took, loaded = done.stdout.splitlines()
        seconds.append(float(took))
        assert not set(HEAVY) & set(loaded.split())
    assert min(seconds) < 0.25


def test_every_public_name_is_there():
    missing = [name for name in suspkit.__all__ if not hasattr(suspkit, name)]
    assert not missing


def test_a_name_that_is_not_there_is_an_attribute_error():
    with pytest.raises(AttributeError, match="nonsense"):
        _ = suspkit.nonsense


# --- the tree -------------------------------------------------------------------------------------


def our_files():
    """Files under version control or about to be; all of them where there is no git."""
    listed = None
    try:
        listed = run("git", "ls-files", "--cached", "--others", "--exclude-standard", "-z")
    except FileNotFoundError:
        pass
    if listed is not None and listed.returncode == 0:
        return [ROOT / name for name in listed.stdout.split("\0") if (ROOT / name).is_file()]
    skipped = re.compile(r"^(?!\.ci$|\.gitignore$)[.].*|^(__pycache__|build|dist)$|\.egg-info$")
    return [
        path
        for path in sorted(ROOT.rglob("*"))
        if path.is_file() and not any(map(skipped.search, path.relative_to(ROOT).parts))
    ]


def test_top_level_is_tidy():
    found = {path.relative_to(ROOT).parts[0] for path in our_files()}
    plain = {name for name in found if not name.startswith(".")}
    expected = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
    expected |= {"suspkit", "notebooks", "tests", "data", "docs"}
    assert plain == expected


# Registries and networks of delivery are not needed at run time, and paths of one machine not at
# all. Each is broken up here so that this file may be read with the others.
FOREIGN = ["py" + "pi.org", "python" + "hosted.org", "cdn.js" + "delivr", "unp" + "kg.com"]
FOREIGN += ["/wo" + "rk/", "/ro" + "ot/", "/ho" + "me/", "C:" + "\\Users"]


def test_nothing_in_the_tree_names_a_machine_or_a_registry():
    found = []
    for path in our_files():
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue  # a picture
        found += [f"{path.relative_to(ROOT)}: {word}" for word in FOREIGN if word in text]
    assert not found


def test_readme_and_ci_share_the_test_command():
    assert TEST_COMMAND in (ROOT / "README.md").read_text()
    assert TEST_COMMAND in (ROOT / ".ci" / "run").read_text()


def test_ci_run_may_be_run():
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


# --- the wheel ------------------------------------------------------------------------------------


def build(out, *what):
    done = run(sys.executable, "-m", "build", "--no-isolation", *what, "--outdir", out, ROOT)
    assert done.returncode == 0, done.stdout + done.stderr
    return sorted(out.iterdir())


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The sdist, and the wheel built from it, as a release is."""
    wheel, sdist = build(tmp_path_factory.mktemp("built"))
    return sdist, wheel


@pytest.fixture(scope="module")
def wheel(built):
    return built[1]


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """An empty environment with the wheel in it; what it depends on is lent by this one."""
    place = tmp_path_factory.mktemp("installed")
    assert run(sys.executable, "-m", "venv", "--without-pip", place / "venv").returncode == 0
    python = place / "venv" / "bin" / "python"
    done = run(
        sys.executable, "-m", "pip", "--python", python, "install", "--quiet", "--no-deps",
        "--no-index", "--disable-pip-version-check", wheel,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    (site,) = (place / "venv" / "lib").glob("python*/site-packages")
    # A line that is a folder only lengthens the path: no other suspkit is picked up by it, since
    # the one installed here comes first.
    lent = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    (site / "lent.pth").write_text("\n".join(lent))
    away = place / "elsewhere"
    away.mkdir()
    return place / "venv" / "bin", site, away


def clean_environment(**more):
    dropped = ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV")
    return {k: v for k, v in os.environ.items() if k not in dropped} | more


@pytest.mark.slow
def test_wheel_holds_every_file_of_ours_and_no_other(wheel):
    """No list to keep: package, notebooks and data as in the tree, and what every wheel has."""
    names = zipfile.ZipFile(wheel).namelist()
    info = f"suspkit-{suspkit.__version__}.dist-info"
    expected = [f"{info}/{name}" for name in ("METADATA", "RECORD", "WHEEL", "entry_points.txt")]
    for path in (path.relative_to(ROOT) for path in our_files()):
        if path.parts[0] == "suspkit":
            expected.append(path.as_posix())
        elif path.parts[0] in ("notebooks", "data"):
            expected.append(f"suspkit/{path.as_posix()}")
    assert sorted(names) == sorted(expected)
    # Should a list of ours ever take such a thing in, or miss a whole kind.
    assert not [n for n in names if re.search(r"checkpoints|__pycache__|(^|/)tests/|\.nb[ic]$", n)]
    kinds = {"py", "html", "js", "css", "toml", "json", "j2", "ipynb", "csv"}
    assert kinds <= {name.rsplit(".")[-1] for name in names}


@pytest.mark.slow
def test_sdist_holds_the_tree(built):
    top = f"suspkit-{suspkit.__version__}"
    with tarfile.open(built[0]) as sdist:
        names = sdist.getnames()
    ours = [f"{top}/{path.relative_to(ROOT).as_posix()}" for path in our_files()]
    assert sorted(names) == sorted([*ours, f"{top}/PKG-INFO"])


@pytest.mark.slow
def test_sdist_and_tree_make_the_same_wheel(built, tmp_path):
    (direct,) = build(tmp_path, "--wheel")
    assert direct.name == built[1].name
    from_tree, from_sdist = (
        {entry.filename: entry.CRC for entry in zipfile.ZipFile(path).infolist()}
        for path in (direct, built[1])
    )
    assert from_tree == from_sdist


@pytest.mark.slow
def test_wheel_tells_installers_what_it_needs(wheel):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    archive = zipfile.ZipFile(wheel)
    info = f"suspkit-{suspkit.__version__}.dist-info"
    told = email.message_from_bytes(archive.read(f"{info}/METADATA"))
    assert (told["Name"], told["Version"]) == ("suspkit", suspkit.__version__)
    assert told["Summary"] == project["description"]
    assert told["Requires-Python"] == project["requires-python"]
    assert told["Description-Content-Type"] == "text/markdown"
    assert told.get_payload().strip() == (ROOT / "README.md").read_text(encoding="utf-8").strip()
    extras = project["optional-dependencies"]
    assert sorted(told.get_all("Provides-Extra")) == sorted(extras)

    def whole(lines):
        for line in lines:
            named = re.fullmatch(r"suspkit\[(.*)\]", line)
            yield from whole(sum((extras[n] for n in named[1].split(",")), [])) if named else [line]

    def alike(lines):
        return {str(Requirement(line)).lower() for line in lines}

    wanted = project["dependencies"]
    wanted += [f"{line}; extra == '{name}'" for name in extras for line in whole(extras[name])]
    assert alike(told.get_all("Requires-Dist")) == alike(wanted)
    entries = configparser.ConfigParser()
    entries.read_string(archive.read(f"{info}/entry_points.txt").decode())
    assert dict(entries["console_scripts"]) == project["scripts"]


def test_quick_takes_no_list_of_its_own():
    """The oldest packages .ci/run tries are those of pyproject, down to the last one."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "try 3.11 lowest-direct" in script
    assert not re.search(r"[\w-]+\s*(==|<=|~=)\s*\d", script)


@pytest.mark.slow
def test_wheel_works_away_from_a_checkout(installed):
    bin_folder, site, away = installed
    environment = clean_environment()
    where = run(
        bin_folder / "python", "-c", "import suspkit; print(suspkit.__file__)",
        cwd=away, env=environment,
    )  # fmt: skip
    assert Path(where.stdout.strip()).is_relative_to(site), where.stderr

    made = run(bin_folder / "suspkit", "example", "mine", cwd=away, env=environment)
    assert made.returncode == 0, made.stderr
    vehicle = Path("mine") / "unit7.toml"
    assert (away / vehicle).is_file()

    checked = run(bin_folder / "suspkit", "check", vehicle, cwd=away, env=environment)
    assert checked.returncode == 0, checked.stderr
    # A fresh install has nothing compiled yet, and says so; nothing else is told there.
    assert re.fullmatch(r"(Compiling the core .*\n)?", checked.stderr)
    assert "Unit 7" in checked.stdout

    sheet = run(
        bin_folder / "suspkit", "sheet", site / "suspkit" / "data" / "unit7.toml",
        "--load", "patrol", "--out", "sheets", cwd=away, env=environment,
    )  # fmt: skip
    assert sheet.returncode == 0, sheet.stderr
    written = [away / line for line in sheet.stdout.split("\n") if line]
    assert sorted(path.suffix for path in written) == [".html", ".pdf"]
    for path in written:
        assert path.parent == away / "sheets"
        assert path.stat().st_size > 1000
    (pdf,) = (away / "sheets").glob("*.pdf")
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert sorted(p.name for p in away.iterdir()) == ["mine", "sheets"]


@pytest.mark.slow
def test_guide_of_a_wheel_copies_and_serves(installed, tmp_path):
    bin_folder, _, away = installed
    folder = tmp_path / "guide"
    (folder / "data").mkdir(parents=True)
    (folder / "data" / "unit7.toml").write_text("mine")
    environment = clean_environment(
        JUPYTER_CONFIG_DIR=str(tmp_path / "config"), JUPYTER_DATA_DIR=str(tmp_path / "jdata"),
        JUPYTER_RUNTIME_DIR=str(tmp_path / "runtime"), IPYTHONDIR=str(tmp_path / "ipython"),
        PYTHONUNBUFFERED="1",
    )  # fmt: skip
    log = tmp_path / "log"
    with log.open("w") as out:
        server = subprocess.Popen(
            [bin_folder / "suspkit", "guide", "--folder", folder, "--no-browser"],
            cwd=away, env=environment, stdin=subprocess.DEVNULL, stdout=out, stderr=out,
        )  # fmt: skip
        try:
            url = wait_for(
                log, r"http://127\.0\.0\.1:\d+/lab/tree/\S*00-start-here\.ipynb\?token=\w+"
            )
            assert url, log.read_text()
            assert_serves(url)
        finally:
            server.terminate()
            server.wait(30)
    text = log.read_text()
    assert f"kept {folder / 'data' / 'unit7.toml'} as it is" in text
    assert (folder / "data" / "unit7.toml").read_text() == "mine"
    for path in (ROOT / "notebooks").glob("*.ipynb"):
        assert (folder / "notebooks" / path.name).read_bytes() == path.read_bytes()


@pytest.mark.slow
def test_tablet_of_a_wheel_serves_its_lessons(installed, tmp_path):
    from urllib.request import urlopen

    bin_folder, _, away = installed
    # What the lender keeps beside its packages is lent too; the pages' looks come with the wheel.
    environment = clean_environment(
        JUPYTER_PATH=os.path.join(sys.prefix, "share", "jupyter"), PYTHONUNBUFFERED="1",
        IPYTHONDIR=str(tmp_path / "ipython"),
    )  # fmt: skip
    log = tmp_path / "log"
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    with log.open("w") as out:
        server = subprocess.Popen(
            [bin_folder / "suspkit", "tablet", "--port", port],
            cwd=away, env=environment, stdin=subprocess.DEVNULL, stdout=out, stderr=out,
        )  # fmt: skip
        try:
            url = wait_for(log, r"http://127\.0\.0\.1:\d+/\?token=[\w-]+")
            assert url and wait_for(log, "Stop with Ctrl-C"), log.read_text()
            for attempt in range(100):
                try:
                    with urlopen(url, timeout=30) as answer:
                        body = answer.read().decode()
                    break
                except OSError:
                    assert attempt < 99, log.read_text()
                    time.sleep(0.2)
        finally:
            server.terminate()
            server.wait(30)
    for path in (ROOT / "notebooks").glob("*.ipynb"):
        assert f'href="/voila/render/{path.name}"' in body
    assert "cdn" not in body


def wait_for(log, pattern, seconds=60):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = re.search(pattern, log.read_text())
        if found:
            return found[0]
        time.sleep(0.2)
    return None


def assert_serves(url):
    """The page is there with its token, and set not to look for news, updates or extensions."""
    import html
    import json
    from urllib.request import urlopen

    page, query = url.split("?")
    with urlopen(url, timeout=30) as answer:
        body = answer.read().decode()
    config = re.search(r'id="jupyter-config-data"[^>]*>(.*?)</script>', body, re.DOTALL)[1]
    config = json.loads(html.unescape(config))
    assert config["news"] == {"disabled": True}
    base = page.split("/lab/")[0]
    with urlopen(
        f"{base}/lab/api/settings/@jupyterlab/apputils-extension:notification?{query}", timeout=30
    ) as answer:
        settings = json.load(answer)["schema"]["properties"]
    assert settings["fetchNews"]["default"] == "false"
    assert settings["checkForUpdates"]["default"] is False
    with urlopen(f"{base}/lab/api/extensions?{query}", timeout=30) as answer:
        assert json.load(answer) is not None
