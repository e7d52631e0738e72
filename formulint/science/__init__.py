"""Relations between numbers of a paint: plain arithmetic on base units, no files, no records, no unit objects.

Every function takes and gives kg, L, kg/L, m or shares (kg/kg, L/L as fractions of 1). The names of the arguments
of a property's law are the totals it needs. Bodies hold arithmetic only, so that any number that can be added,
subtracted, multiplied, divided and compared with 0 may be passed, an interval as well as a float.
"""
