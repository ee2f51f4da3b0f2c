"""Models of other tools: units of the open Functional Mock-up Interface (FMI), in and out.

In: `archive` unpacks a unit safely, `description` reads what it says of itself, `mapping` binds its
variables to the contract's columns, `binary` loads its library, `instance` runs one instance of it
and `calls` is the exchange of one sample in compiled code. Out: `writing`, with the C sources of
`shim/`.

FMI 2.0 and 3.0, co-simulation. Standard: fmi-standard.org, versions 2.0.5 and 3.0.2 (read).
"""
