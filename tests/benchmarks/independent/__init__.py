"""An independent drop rig, to try verdicts on what marking's own authors did not invent.

Nothing here knows how marking works. It shares no code with `tautlog.mechanics.motion`, the
rehearsal, the filters or marking: own equations, own integrator, own instrument, own
channel class filter. Only `campaign` calls the public path in: a `Trace` and a `DropSetup`
into `marking.mark` and `judge.judge`.

Reading order: `lines` (what pulls), `rig` (sled, rails, fixture, integrated), `truth` (what
a perfect instrument would have told), `instrument` (amplifier, rail, noise after the rail,
converter), `kinds` (lines by word), `drops` (one drop by kind and seed), `faults`,
`campaign` and `tally` (many, counted), `records` (the way through a CSV file).

    from independent.drops import make       # with tests/benchmarks on the path
    drop = make("zener+clip-round", seed=7)  # drop.trace, drop.setup, drop.cfc, drop.truth

    python tests/benchmarks/independent/campaign.py --drops 2000 --seed 1 --jobs 2
    python tests/benchmarks/independent/campaign.py --only any+clip-hard --drops 200
    python tests/benchmarks/independent/campaign.py --only kelvin+cut-rise --one 17 --show

Not modelled: waves along the line, the line's own swing, a sled that cocks on its rails,
friction that changes from drop to drop, a second beam mode, bending of the cell, temperature.
The mass of the line goes half with the sled, half with the fixture. A law's damper acts only
while the line is longer than its free length. All parameters are invented, not measured.
"""
