"""The desk: one local page for people who don't type commands.

A drawing is met as piece cards, the cards are a job file's keys in other clothes, and the files
come from the very pipeline that the command runs.  Modules, from the page inwards: `server` (routes
and the running server), `guard` (who may call), `work` (the table with its files, checks and cuts),
`shown` and `picture` (a plan and a piece as plain data), `cards` (what the page sets of a job),
`rewriting` (the job's text with changed cards), `brought` (files that come in), `packing` (zips
that go out), `shelf` (what may be chosen).

Does no geometry and judges nothing: faults and refusals are the pipeline's own.
"""
