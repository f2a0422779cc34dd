"""Record: one drop in one HDF5 file. This text is the format, version 1 and 2.

Any HDF5 reader can use a record; nothing in it needs this project. Strings are
UTF-8, and empty if not stated. An unknown number is absent, never zero. Numbers
are little-endian; float is float64, int is int64.

``/`` attributes

============================ ======= ================================================
format                       string  "tautlog record"
format_version               int     2 with /channels, else 1
record_id                    ASCII   32 hexadecimal digits, unique to the record
software                     string  program and version that wrote the file
utc                          string  ISO 8601, start of the file; a label only
campaign                     string  name of the campaign
origin                       string  "measured", "rehearsed" (on a simulated rig: it is no
                                     evidence) or "imported"; missing in older records, where a
                                     rehearsed one names a "virtual board"
previous_seal_sha256         ASCII   seal of the record sealed before it in the same campaign;
                                     missing in the first
chain_sha256                 ASCII   head of the campaign's chain (`files/chain.py`) when the
                                     record was begun; missing in older records and without a
                                     campaign
status                       string  "recording" (being written, or its writer was
                                     killed), "complete", "aborted" (ended early, with the
                                     data up to then), "recovered" (completed afterwards)
status_text                  string  reason for the status, in plain words
seal_version                 int     what seals cover, see below; 2; missing in older records: 1
seal_sha256                  string  64 hexadecimal digits, see below
seal_parts_json              string  the beginnings of the hashes in the seal, see below
firmware, board, serial      string  as reported by the board; not in an import
history_blocks               int     blocks that the board's memory holds; not in an import
board_state                  string  state of the board at its greeting; not in an import
arming_json                  string  measurements and findings before arming, one JSON
                                     object: `health`, `findings` (each with code,
                                     refuses, text), `shunt_step_v`, `limits` as sent
                                     to the board; not in an import
reception_json               string  what the laptop saw of the board besides blocks and
                                     events, one JSON object (see `reception.Reception`;
                                     empty values are left out); missing in older files and
                                     in an import
first_sample_index           int     board's index of the first sample; not in an import
============================ ======= ================================================

``/trace/counts`` uint16, shape (samples, channels): the raw samples, in the order of their
blocks, each the sum of `reduction` conversions, a power of two; where the sum takes more than
16 bits (16-bit converters), divided by the power of two that makes it fit, and rounded. It
leaves out samples that never came; ``/trace/blocks`` shows where they are missing. Attributes:

============================ ======= ================================================
sample_rate_hz               float   samples per second of one channel
reduction                    int     conversions in one sample
channels                     strings names, in the order of the columns
converter_bits               int     resolution of one conversion, 12 or 16; 16 at most
samples_per_block            int     samples of one channel in a full block
============================ ======= ================================================

``/trace/blocks`` table, one line per block, ascending by `block`: `block` uint32, its
number on the board; `row` uint64, row of ``/trace/counts`` where it begins; `stamp_us`
uint32, board clock at its last sample, microseconds modulo 2**30; `flags` uint16,
faults that the board saw: 1 the converter's FIFO overflowed, 2 a conversion did not
settle, 4 the raw memory was reused before the block was handled; `lost` uint16,
conversions that the board knows it lost in this block. A jump of `block` is
a gap: block b begins (b - first b) x samples_per_block samples after the start of
the trace. In a block with lost > 0 or with flag 1 or 4 the places of the samples are
unknown: `Record.trace` shows them as missing.

``/trace/values`` float64, shape (samples,), in an imported trace instead of both: the
values as they came, NaN where a value was missing. Attributes:

============================ ======= ================================================
unit                         string  unit of the values
newton_per_unit              float   force of one unit
polarity                     int     1, or -1 if tension came as negative values
sample_rate_hz               float   samples per second
first_time_s                 float   time of the first value in the source
source_*                     any     their origin: file, its SHA-256, columns
============================ ======= ================================================

``/events`` table: `number` uint32, counted from the start of sampling; `name` 32 bytes,
padded with NUL; `sample_index` int64, nearest sample, counted from the start of the
trace with the samples of gaps (negative before it); `stamp_us` uint32
as above; `value` int32, its meaning depends on the event.

``/setup`` attributes mass_kg, height_m, target_n, limit_n, fittings_kg, shortest_s,
longest_s (float); article, line, mount, operator, note, article_finding, checklist (one JSON
object), override, end_state, judged_on (the force channel whose peak is judged; missing: the sum),
    leg_facts (one JSON list of `model.leg_facts.LegFacts`; missing or empty: nothing stated),
    temperature_c, humidity_percent (of the air, relative), condition (of line and article:
    "conditioned", "wet" or "as-found"), since_conditioning_h
(string): the set-up as people stated it.

``/calibration`` attributes newton_per_volt, newton_per_square_volt, zero_v, expanded_u_fraction
(k = 2), expanded_u_n (k = 2, newtons; missing in old files: 0), reference_v, rail_low_v,
rail_high_v, range_n, bandwidth_hz (float),
converter_bits, good_for_days, filter_poles (int; the last is missing in old files: 0), date, note,
accepted (who accepted it although it is implausible, and why; string), converter (string; missing
in old files: ""). Force of a count in newtons, zero not removed::

    volt = level x reference_v / 2**converter_bits
    force = volt x newton_per_volt + newton_per_square_volt x (volt - zero_v)**2

The level is m = count x 2**converter_bits / min(2**converter_bits x reduction, 65536), the mean
of its conversions, if converter is "" (its steps are not known) or "even". Else
converter is a JSON object: knots are pairs of a code k and the error e of the level at which it
begins, in steps, which is k - 1/2 + e, straight between the knots; bits, noise_steps (rms of one
conversion), u_steps (standard uncertainty of a level), source, serial, chip. A single conversion
stands for the middle of its code, a sum of several for the level at which noisy conversions have
that mean (`model/linearity.py`); level = m + e(m + 1/2) is the same outside
of wide codes.

``/channels/N`` one group for each column N = 1, ... of ``/trace/counts`` beyond the first, from
format_version 2 on; none for one channel. Attributes name, role (string: "force",
"acceleration", "excitation" or "voltage", the first word of the name or "voltage"), and what is
known of the scale, or nothing. "force": as ``/calibration``; without newton_per_volt it is not
calibrated. "acceleration": volt_per_m_s2, zero_v (output at 0 g), range_m_s2,
expanded_u_fraction (k = 2), bandwidth_hz (float), serial (string). "excitation": divider_ratio,
expected_v, tolerance_fraction (float), ratiometric (string, "yes" or "no").
All columns have the converter of ``/calibration``. Column N of n is converted
N / (n x reduction) of a sample after the first. ``/calibration`` belongs to the first column.
Several force channels are the legs of one load path, and the force of the drop is their sum::

    acceleration = (volt - zero_v) / volt_per_m_s2     0 in free fall, 1 g at rest, upwards
    supply = volt x divider_ratio

``/marks/N`` one group for each marking run, N = 1, 2, ...; attributes software, utc
(string), settings_json, result_json (string, one JSON object each). Runs are only
added; the newest counts. The settings hold `cfc`, `zero` and, if another calibration than
``/calibration`` was used, `calibration`: file, sha256, by, reason, utc, channel (of a leg; else
missing) and the measured values.

``/inspections/N`` one group for each inspection of the article, N = 1, 2, ..., if any;
attributes software, utc, by, finding, note, where, moved (string; the last two may be
missing), dimensions (string, a JSON list of objects: name, before_mm, after_mm, expanded_u_mm,
limit_mm; missing if nothing was measured). Only added; the newest counts.

``/decisions/N`` one group for each decision of a named person about the test, if any;
attributes software, utc, by, verdict, proposed (the verdict proposed then), reason
(string). Only added; the newest counts.

``/photos/N`` one group for each photo or film, N = 1, 2, ..., if any; attributes software,
utc, name, sha256, size (bytes), offset_s (of the board's flash in a film, if stated), note
(all string). Only added; the files are elsewhere.

``/shunt_checks/N`` attributes software, utc, before_v, after_v (string): volts by which the
shunt resistor raised the reading before and after the drop, if one is fitted.

``/given_up/N`` one group for each decision of a named person to do without what the board never
sent, if any; attributes software, utc, by, reason, lacks (what is missing, in words; all string).

Every entry (a group N of the six kinds above) also has: entry (int), 1, 2, ... over all
kinds, in the order of entry; previous_sha256 (string), the seal of the entry before it, or of
the record for the first, or empty if the record was not finished yet; and seal_sha256
(string), its own seal. Entries of older programs have none of these.

Seal
----
SHA-256 over four SHA-256 digests (32 bytes each) one after another:

1. of ``/trace/counts``, row by row, little-endian uint16; or of ``/trace/values``,
   little-endian float64;
2. of ``/trace/blocks``, line by line, its fields in the order given above, packed and
   little-endian (20 bytes a line); of nothing in an import;
3. of ``/events``, likewise (52 bytes a line);
4. of a text: for every attribute of ``/`` (but seal_sha256 and seal_parts_json; where
   seal_version is 1 or missing, but status and status_text too),
   ``/trace/counts`` or ``/trace/values``, ``/setup``, ``/calibration`` and each ``/channels/N`` one
   line, a JSON array
   [path, name, value] in ASCII with ", " between, each ended by a line feed, sorted
   by path, then name. Floats have the fewest digits that give the same number back.
   ``/trace``, ``/trace/blocks``, ``/events`` and ``/channels`` have no attributes; if somebody
   added any, those are lines too.

A data set of another type or shape than stated here is damage, whatever its seal: the hash
covers the bytes that any reader sees. So is a data set in another file, behind a link, with
another filter than deflate, shuffle and checksum, with lines that were never written, or one that
unfolds to more than 64 MiB that are not on disk byte by byte; and more than 2**21 blocks, 2**16
events, 1024 entries of a kind or attributes of a place, or a file that is mostly holes.

`seal_parts_json` has 16 digits each of digests 1 to 3 (samples, blocks, events) and of the lines
of each place in 4, by its path: they show which part changed. From seal_version 2 on, status
and status_text are a part "status", origin a part "origin".

A record with status "recording" has no seal. If it has a seal, or its parts, it was changed
after it was finished: its seal is broken, of whatever version, and nothing seals it again.

The seal of an entry is the SHA-256 of such lines, of all its attributes but seal_sha256, with
the path of its group. From seal_version 2 on an entry without a seal does not count. The
record's seal is made once: no entry breaks it. An edited or removed entry is detected; the
removal of the newest leaves no trace in the record, but in the chain of its campaign.

The seal shows damage and honest mistakes. It is not a signature: anyone who can write the
file can write a new seal.
"""

from tautlog.record.additions import (
    add_decision,
    add_given_up,
    add_inspection,
    add_marks,
    add_photo,
    add_shunt_check,
)
from tautlog.record.entries import Decision, GivenUp, Inspection, MarksRun, Photo
from tautlog.record.excerpt import excerpted
from tautlog.record.imported import ImportedValues, write_values
from tautlog.record.layout import FORMAT_VERSION
from tautlog.record.reader import open_checked, open_record
from tautlog.record.record import Record, legs_of, supply_factor, volts_of
from tautlog.record.seal import SealCheck
from tautlog.record.shunts import last_shunt_step
from tautlog.record.writer import RecordWriter

__all__ = [
    "FORMAT_VERSION",
    "Decision",
    "GivenUp",
    "ImportedValues",
    "Inspection",
    "MarksRun",
    "Photo",
    "Record",
    "RecordWriter",
    "SealCheck",
    "add_decision",
    "add_given_up",
    "add_inspection",
    "add_marks",
    "add_photo",
    "add_shunt_check",
    "excerpted",
    "last_shunt_step",
    "legs_of",
    "open_checked",
    "open_record",
    "supply_factor",
    "volts_of",
    "write_values",
]
