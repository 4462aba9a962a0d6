"""The parts of a printed record, one module each, in the order of `compliance.records.record`."""
