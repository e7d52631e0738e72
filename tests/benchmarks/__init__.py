"""How fast the command is, as ratios: two things measured in one run, in turn, on one machine; never a timed test.

    python -m tests.benchmarks                  everything (some minutes)
    python -m tests.benchmarks --rounds 15      more rounds than the usual 9
    python -m tests.benchmarks --only hook      rows whose name holds the word
    python tests/benchmarks --keep DIR          build the repositories there, and leave them

A row says what was measured, against what, the ratio that is demanded and whether it is met:

    what                            against               ratio    cpu  demanded          git
    lint of one clean formula       python -c pass         4.10   3.90  <= 5.5   met       2

``ratio`` is median over median of wall time, the rounds of all rows taken in turn, so that a busy machine is busy for
both sides. ``cpu`` is the same of processor time (git's included): where the two differ much, the machine had other
things to do, and the run is worth repeating. ``git`` counts the processes of git that one run starts.

The repository is made up by ``synthetic``: 2,000 formulas of 15 additions, 300 materials, all rules kept. Bytecode is
compiled before the first round, and Python may write it; the command starts as an installed script does. Modules: ``stage`` builds what is measured on, ``clock``
measures, ``rows`` lists what is measured, ``within`` measures parts inside one process.
"""
