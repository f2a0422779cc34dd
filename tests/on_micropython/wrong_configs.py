"""Checks the table of wrong configs, and files that cannot be imported.

Run by test_config_check.py under CPython and under a real MicroPython.
Usage: wrong_configs.py FIRMWARE_FOLDER TESTS_FOLDER
"""

import json
import os
import sys

sys.path.insert(0, sys.argv[1])
sys.path.insert(1, sys.argv[2])

import config
import config_check
from configs import WRONG, Changed

for _, changes in WRONG:
    print(json.dumps(config_check.find_faults(Changed(config, changes))))

FILES = (
    "PIN_KEY = 11\n\nPIN_DRIVE = = 12\n",
    "PIN_KEY = PIN_KYE\n",
    "PIN_KEY = 11\nPIN_DRIVE = 12 // 0\n",
    "raise SystemExit\n",
)
texts = []
for number, lines in enumerate(FILES):
    folder = "wrong_config_" + str(number)
    os.mkdir(folder)
    with open(folder + "/config.py", "w") as file:
        file.write(lines)
    sys.modules.pop("config", None)
    sys.path.insert(0, folder)
    found, faults = config_check.load()
    assert found is None
    texts.append(faults[0])
    sys.path.pop(0)
    os.remove(folder + "/config.py")
    os.rmdir(folder)
    sys.modules["config"] = config
print(json.dumps(texts))
