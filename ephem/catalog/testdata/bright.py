"""Writes bright.csv: positions and proper motions of well-known stars.

Run with Debian's python3-ephem 4.1.4 (whose ephem.stars took them from ESA's
hip_main.dat, CDS I/239, and carried them from J1991.25 to J2000 itself):

    /usr/bin/python3 bright.py > bright.csv
"""

import ephem.stars

print("name,ra_deg,dec_deg,pm_ra_cosdec_mas_yr,pm_dec_mas_yr,magnitude")
seen = set()
for line in ephem.stars.db.splitlines():
    name, _, ra, dec, magnitude = line.split(",")[:5]
    if (ra, dec) in seen:  # the list has some stars under several names
        continue
    seen.add((ra, dec))
    (hours, pm_ra), (degrees, pm_dec) = ra.split("|"), dec.split("|")
    print(name, "%.7f" % (float(hours) * 15), "%.7f" % float(degrees), pm_ra, pm_dec, magnitude, sep=",")
