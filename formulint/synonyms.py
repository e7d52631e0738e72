"""Words of the trade for what the format calls otherwise; asked only where a word is not known."""

SYNONYMS: dict[str, tuple[str, ...]] = {
    # fields of a material
    "solids": ("nonvolatile",), "nv": ("nonvolatile",), "nvm": ("nonvolatile",), "solidscontent": ("nonvolatile",), "weightsolids": ("nonvolatile", "nonvolatile_mass"),
    "volumesolids": ("nonvolatile_volume",), "nvv": ("nonvolatile_volume",), "nvw": ("nonvolatile", "nonvolatile_mass"),
    "mfft": ("minimum_film_temperature",), "mft": ("minimum_film_temperature",), "minimumfilmformingtemperature": ("minimum_film_temperature",),
    "sg": ("density",), "specificgravity": ("density",), "wpg": ("density",), "weightpergallon": ("density",), "lbpergal": ("density",),
    "oa": ("oil_absorption",), "oilabs": ("oil_absorption",), "drydensity": ("nonvolatile_density",), "soliddensity": ("nonvolatile_density",),
    "actives": ("active",), "activecontent": ("active",), "charge": ("ionic",), "cost": ("price",), "vendor": ("supplier",), "manufacturer": ("supplier",),
    "sds": ("sds_date",), "msds": ("sds_date",), "composition": ("component",), "ingredients": ("component",), "components": ("component",), "boilingrange": ("boiling_point",), "bp": ("boiling_point",),
    "casno": ("cas",), "casnumber": ("cas",), "percent": ("share", "amount"), "fraction": ("share",), "role": ("functions",), "type": ("functions", "class", "kind"),
    # fields of a formula
    "rev": ("revision",), "version": ("revision",), "title": ("name",), "description": ("name",), "status": ("state",), "sheen": ("class",),
    "yield": ("batch",), "size": ("batch",), "qty": ("amount",), "quantity": ("amount",), "weight": ("amount",), "wt": ("amount",), "lbs": ("amount",), "volume": ("amount",),
    "ingredient": ("material",), "rawmaterial": ("material",), "rm": ("material",), "item": ("material",), "lines": ("additions",), "charges": ("additions",),
    "rpm": ("speed",), "duration": ("time",), "minutes": ("time",), "temp": ("temperature",), "comment": ("note",), "remark": ("note",), "remarks": ("note",), "tank": ("vessel",), "mixer": ("vessel",),
    "spec": ("limits", "tests"), "specs": ("limits", "tests"), "specification": ("limits", "tests"), "market": ("markets",), "region": ("markets",), "basis": ("on",),
    # tests
    "hegman": ("fineness",), "grind": ("fineness", "disperse"), "fog": ("fineness",), "ku": ("consistency",), "krebs": ("consistency",), "stormer": ("consistency",), "viscosity": ("consistency",),
    "ici": ("high_shear_viscosity",), "coneandplate": ("high_shear_viscosity",), "hide": ("contrast_ratio",), "hiding": ("contrast_ratio",), "opacity": ("contrast_ratio",), "washability": ("scrub",),
    "sheen85": ("gloss_85",), "gloss": ("gloss_60", "class"), "stability": ("heat_age",), "ovenstability": ("heat_age",),
    # functions
    "latex": ("binder",), "resin": ("binder",), "polymer": ("binder",), "emulsion": ("binder",), "vehicle": ("binder",), "biocide": ("in-can-preservative",), "preservative": ("in-can-preservative",),
    "bactericide": ("in-can-preservative",), "fungicide": ("dry-film-preservative",), "mildewcide": ("dry-film-preservative",), "algicide": ("dry-film-preservative",),
    "heur": ("associative-thickener",), "hec": ("cellulosic-thickener",), "cellulose": ("cellulosic-thickener",), "hase": ("alkali-swellable-thickener",), "ase": ("alkali-swellable-thickener",),
    "filler": ("extender",), "tio2": ("white-pigment",), "titaniumdioxide": ("white-pigment",), "titanium": ("white-pigment",), "antifoam": ("defoamer",), "mattingagent": ("flatting-agent",),
    "phadjuster": ("neutralizer",), "base": ("neutralizer",), "alkali": ("neutralizer",), "amine": ("neutralizer",), "cosolvent": ("solvent",), "coalescingagent": ("coalescent",),
    "filmformer": ("coalescent",), "hollowsphere": ("opaque-polymer",), "bentonite": ("swelling-clay",), "attapulgite": ("non-swelling-clay",), "tint": ("colorant",), "humectant": ("glycol",),
    # stages, steps, states
    "thindown": ("letdown",), "millbase": ("grind",), "dispersion": ("grind", "disperse"), "post": ("adjust",), "stir": ("mix",), "blend": ("mix",), "mill": ("disperse",), "wait": ("hold",),
    "experimental": ("bench",), "lab": ("bench",), "released": ("production",), "obsolete": ("withdrawn", "blocked"), "discontinued": ("withdrawn", "phase-out"),
}  # fmt: skip
"""By a word in small letters, without blanks, hyphens and underscores: the words of the format, the likeliest first."""
