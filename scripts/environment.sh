# Sourced by ./start and ./check (bash 3.2 or later, POSIX tools). Expects $root, the project's folder.

# Nothing from the caller's shell may change which code the environment's Python loads.
unset PYTHONPATH PYTHONHOME PYTHONSTARTUP PYTHONPLATLIBDIR PYTHONDONTWRITEBYTECODE PYTHONPYCACHEPREFIX

# environment_stamp LOCK: what an environment must have been made from to be used again.
environment_stamp() {
    (cd "$root" && printf '%s\n' "$root" && exec cksum "$1" scripts/environment.py)
}

# find_python: set $python to a CPython 3.11 or later, or say what is missing and exit with 3.
find_python() {
    local candidate answer without_venv='' probe='
import os, sys
if sys.version_info >= (3, 11) and sys.implementation.name == "cpython":
    try:
        from ensurepip import version
        from venv import create
    except ImportError:
        answer = "no venv"
    else:
        answer = "whole"
    print(answer, os.path.realpath(sys.executable))
'
    for candidate in python3 python3.14 python3.13 python3.12 python3.11; do
        answer=$("$candidate" -I -c "$probe" 2>/dev/null) || continue
        case $answer in
            "whole "*) python=${answer#whole }; return ;;
            "no venv "*) without_venv=${without_venv:-$candidate} ;;
        esac
    done
    if [ -n "$without_venv" ]; then
        echo "$without_venv is here, but without the parts that make an environment." \
            "On Debian and Ubuntu install them with: sudo apt install python3-venv" >&2
    else
        echo "quailwright needs CPython 3.11 or later, and there is none on this machine's PATH." \
            "Install it (on Debian and Ubuntu: sudo apt install python3 python3-venv)" \
            "and run this again." >&2
    fi
    exit 3
}

# environment FOLDER LOCK: make sure that $root/FOLDER holds exactly what LOCK pins.
environment() {
    local stamp
    stamp=$(environment_stamp "$2")
    if [ -x "$root/$1/bin/python" ] && [ -f "$root/$1/stamp" ] &&
        [ "$(<"$root/$1/stamp")" = "$stamp" ]; then
        return
    fi
    find_python
    "$python" -I "$root/scripts/environment.py" "$root" "$1" "$2" "$stamp" || exit $?
}
