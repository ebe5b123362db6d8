"""The lists that belong to each of the five places: words, and the name of the address."""

TODAY = (("Today", "home"), ("To settle", "unsettled"), ("All entries", "events"))
COLONIES = (
    ("Donor colonies", "colonies"),
    ("Collections", "collections"),
    ("Reefs", "reefs"),
    ("Taxa", "taxa"),
    ("Permits", "permits"),
    ("Bags", "bags"),
)
NURSERY = (
    ("Structures", "structures"),
    ("Ramets", "ramets"),
    ("Cuttings", "fragmentations"),
    ("Nurseries", "nurseries"),
    ("Systems", "systems"),
    ("Bays", "bays"),
)
GENETS = (("Genets", "genets"), ("Where they are kept", "matrix"))
REEF = (
    ("Sites", "sites"),
    ("Map", "map"),
    ("Plots", "plots"),
    ("Outplantings", "outplantings"),
    ("Visits", "visits"),
)
