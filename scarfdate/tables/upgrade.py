"""``upgrade_priors``: a folder of priors of an older format, written anew in the present one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from scarfdate.errors import FileFault, PriorsError, ScarfdateError
from scarfdate.files import as_path, check_folder_for, write_folder
from scarfdate.formats import PRIORS
from scarfdate.tables.folder import (
    DESCRIPTOR,
    check_format,
    check_listed,
    check_names,
    read_folder,
    stated_format,
)
from scarfdate.tables.older import upgraded
from scarfdate.tables.priors import Priors, load_priors, priors_of_files
from scarfdate.tables.schema import shipped_folder
from scarfdate.tables.sheet import read_sheet


def upgrade_priors(
    old: str | Path, new: str | Path, *, say: Callable[[str], object] = lambda text: None
) -> Priors:
    """Write a folder of priors of an older format anew, in the present one, into a new folder, and load it.

    ``old`` stays as it is. What stands in its tables is in the new ones, too; what it lacks is taken from the shipped
    tables, and told to ``say``, a line each. Answers are nearly those of before, not quite: the sum has changed since,
    not the tables alone. `compare_priors` tells who moves between the new folder and the shipped tables.

    Raises PriorsError with every fault that is left, and ScarfdateError where there is nothing to upgrade, or where
    ``new`` is there already or cannot be written; then nothing is written.
    """
    folder, target, faults = as_path(old, "old"), as_path(new, "new"), list[FileFault]()
    check_folder_for(target, new=True)
    if not folder.is_dir():
        load_priors(folder)  # says what is wrong with it
    files, shipped = read_folder(folder, faults), read_folder(shipped_folder(), faults)
    check_format(files, str(old))
    if DESCRIPTOR in files and stated_format(files) == PRIORS.version:
        raise ScarfdateError(
            f"{old} is of format version {PRIORS.version}, the present one: there is nothing to upgrade; "
            "scarfdate check-priors tells its faults"
        )
    both = [name for name in files if name in shipped and name.endswith(".csv")]
    sheets = {
        name: (read_sheet(name, files[name], faults), read_sheet(name, shipped[name], faults))
        for name in both
    }
    if not both:
        faults.append(FileFault(str(old), None, None, "the folder holds no priors file"))
    if faults:
        raise PriorsError(str(old), faults)
    made, notes = upgraded(files, shipped, sheets)
    if DESCRIPTOR in files:
        check_listed(made, target, faults)
    else:
        check_names(made, shipped, faults)
    whole = made if DESCRIPTOR in files else {**shipped, **made}
    priors_of_files(whole, str(old), faults)  # or raises, before anything is written
    write_folder(target, made, new=True)
    for note in notes:
        say(note)
    return load_priors(new)
