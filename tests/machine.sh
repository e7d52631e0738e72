# Can this machine run formulint? Prints the name of a Python that can; else says what to install, and ends with status 1.
# Plain sh without any other program, so that it also runs where nearly nothing is installed.

complain() {
    printf '%s\n' "$*" >&2
    missing=yes
}

missing=
python=
seen=
for name in python3 python3.14 python3.13 python3.12 python3.11; do
    version=$("$name" -c 'import sys; print("%d.%d" % sys.version_info[:2])' 2>/dev/null) || continue
    minor=${version#3.}
    if [ "$version" = "$minor" ] || [ "$minor" -lt 11 ]; then
        seen="${seen:-$name is Python $version, which is too old: install Python 3.11 or newer (python3.11 and python3.11-venv)}"
    elif "$name" -c 'import ensurepip, venv' 2>/dev/null; then
        python=$name
        break
    else
        seen="$name is Python $version, but cannot make environments: install python3-venv (Debian, Ubuntu: apt install python$version-venv)"
    fi
done
if [ -z "$python" ]; then
    complain "${seen:-there is no Python here: install python3 and python3-venv, version 3.11 or newer}"
fi

found=$(git --version 2>/dev/null) || found=
if [ -z "$found" ]; then
    complain "there is no git here: install git, version 2.34 or newer"
else
    found=${found#git version }
    major=${found%%.*}
    rest=${found#*.}
    minor=${rest%%.*}
    if [ "$major" -lt 2 ] || { [ "$major" -eq 2 ] && [ "$minor" -lt 34 ]; }; then
        complain "git here is $found, which is too old: install git 2.34 or newer"
    fi
fi

[ -z "$missing" ] || exit 1
printf '%s\n' "$python"
