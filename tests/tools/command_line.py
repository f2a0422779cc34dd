"""The command line, called in this process."""

from tautlog.cli import run


def said(capsys, *arguments):
    """Exit status, standard output and standard error of a command."""
    capsys.readouterr()
    status = run([str(one) for one in arguments])
    out, err = capsys.readouterr()
    return status, out, err
