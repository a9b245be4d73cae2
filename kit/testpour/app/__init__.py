"""The command `testpour`: study folders made, checked, backed up and opened in JupyterLab.

In: a command line.
Out: a folder, a file or a running lab, and an exit code.
"""
