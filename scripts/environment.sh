# Read by the scripts beside it: finds a Python and keeps .venv in order. What it says goes to standard error,
# so that what the scripts print stays the same every time.

say() { printf '%s\n' "$*" >&2; }

# A Python from 3.11 on, asked for its version: a name on the path may be of another one, or of none.
find_python() {
    for candidate in ${PYTHON:+"$PYTHON"} python3.13 python3.12 python3.11 python3 python; do
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
            command -v "$candidate"
            return 0
        fi
    done
    say "This needs Python 3.11 or newer, and none was found."
    if found=$(python3 --version 2>/dev/null); then
        say "python3 here is $found."
    fi
    say "Install one:"
    say "  Debian, Ubuntu:  sudo apt install python3 python3-venv"
    say "  Fedora:          sudo dnf install python3"
    say "  macOS:           brew install python@3.12"
    say "or get it from https://www.python.org/downloads/, then run this again."
    say "If it is somewhere else:  PYTHON=/path/to/python3.12 $0"
    return 1
}

# Whether .venv works, was made for this folder and this pyproject.toml, and holds the extras asked for.
environment_is_good() {
    [ -x .venv/bin/python ] && [ -f .venv/made-for ] || return 1
    [ "$(sed -n 1p .venv/made-for)" = "$(fingerprint)" ] || return 1
    case ",$(sed -n 2p .venv/made-for)," in
    *",$1,"*) ;;
    *) [ -z "$1" ] || return 1 ;;
    esac
    .venv/bin/python -c 'import sys, click, numpy; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1
}

fingerprint() { printf '%s %s' "$(cksum <pyproject.toml)" "$PWD"; }

install() {
    PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_INPUT=1 PIP_PROGRESS_BAR=off \
        .venv/bin/python -m pip install -q -e "$1" >>.venv/install.log 2>&1
}

# make_environment EXTRAS: .venv with the package and "[EXTRAS]", made only when it is not there already.
make_environment() {
    if environment_is_good "$1"; then
        return 0
    fi
    if ! { [ -x .venv/bin/python ] &&
        .venv/bin/python -c 'import sys, pip; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; }; then
        python=$(find_python) || return 1
        if ! "$python" -c 'import venv, ensurepip' >/dev/null 2>&1; then
            version=$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])')
            say "$python is new enough, but cannot make environments: its venv module is not complete."
            say "  Debian, Ubuntu:  sudo apt install python$version-venv"
            say "then run this again."
            return 1
        fi
        say "Making an environment in .venv with $("$python" --version) ..."
        if ! "$python" -m venv --clear .venv >&2; then
            say "The environment could not be made in $PWD/.venv; is there room, and may you write there?"
            return 1
        fi
    fi
    package="."
    [ -z "$1" ] || package=".[$1]"
    say "Installing $package into .venv, which takes a minute or two the first time ..."
    : >.venv/install.log
    if ! install "$package"; then
        say "That did not work; trying once more ..."
        sleep 3
        if ! install "$package"; then
            return 2
        fi
    fi
    # as an installation that is no editable one does, so that the first command need not
    .venv/bin/python -m compileall -q advisor >>.venv/install.log 2>&1 || true
    printf '%s\n%s\n' "$(fingerprint)" "$1" >.venv/made-for
}

# Said when make_environment has returned 2.
installing_failed() {
    say "The packages could not be installed. The end of .venv/install.log:"
    grep -v "^WARNING" .venv/install.log | tail -n 4 | sed 's/^/  /' >&2
    say "A way to the Python package index is needed, or a mirror named in pip's own settings. To see more:"
    say "  .venv/bin/python -m pip install -e ."
}
