"""The desk: one local page for people who don't type commands.

A drawing is met as piece cards, the cards are a job file's keys in other clothes, and the files
come from the very pipeline that the command runs.  Modules, from the page inwards: `server` (routes
and the running server), `guard` (who may call), `work` (the table with its files, checks and cuts),
`shown` (a plan as plain data), `cards` (job text to cards and back), `brought` (files that come
in), `shelf` (what may be chosen).

Does no geometry and judges nothing: faults and refusals are the pipeline's own.
"""
