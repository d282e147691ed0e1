"""The publications the tables rest on, each named once."""

from __future__ import annotations

from ebbline.criteria.rule import Source

NICHD_2008 = Source(
    "Macones 2008",
    "Macones GA, Hankins GDV, Spong CY, Hauth J, Moore T. The 2008 National Institute of Child "
    "Health and Human Development workshop report on electronic fetal monitoring. Obstet Gynecol "
    "2008;112:661-6",
)
FIGO_2015 = Source(
    "FIGO 2015",
    "Ayres-de-Campos D, Spong CY, Chandraharan E. FIGO consensus guidelines on intrapartum fetal "
    "monitoring: cardiotocography. Int J Gynaecol Obstet 2015;131:13-24",
)
NICE_NG229 = Source(
    "NICE NG229",
    "National Institute for Health and Care Excellence. Fetal monitoring in labour. NICE "
    "guideline NG229, December 2022",
    from_memory=True,
)
ACOG_229 = Source(
    "ACOG PB 229",
    "American College of Obstetricians and Gynecologists. Practice Bulletin 229: Antepartum fetal "
    "surveillance. Obstet Gynecol 2021;137:e116-27",
    from_memory=True,
)
MODANLOU_1982 = Source(
    "Modanlou 1982",
    "Modanlou HD, Freeman RK. Sinusoidal fetal heart rate pattern: its definition and clinical "
    "significance. Am J Obstet Gynecol 1982;142:1033-8",
    from_memory=True,
)
COMMON_PRACTICE = Source("common practice", "Common practice, no source")
OURS = Source("our choice", "Our choice: the standard gives no number")
