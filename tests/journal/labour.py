"""A labour of ten hours as it is written down, invented for the tests; no person's."""

from __future__ import annotations

from journal.writing import Writer


def ten_hours() -> Writer:
    """From admission to late in the second stage: induction, a slow tenth hour, a fever."""
    case = Writer()
    w = case.write
    w(0, "bed", bed="4")
    w(0, "labour", weeks=40, births_before=0, onset="induced", risk="raised",
      risk_factors=["diabetes"], heart_by="continuous")  # fmt: skip
    w(0.05, "examination", fundal_height_cm=36, presentation="vertex",
      position="left transverse", fifths_above=4)  # fmt: skip
    w(0.1, "vitals", pulse_bpm=82, systolic_mmhg=118, diastolic_mmhg=72, temperature_c=36.7)
    w(0.2, "cervix", dilatation_cm=4, station_cm=-2, position="left transverse", caput=0)
    w(0.2, "membranes", state="intact")
    w(0.3, "sensor", sensor="ultrasound", action="placed", site="below the umbilicus, left")
    w(0.3, "sensor", sensor="toco", action="placed", site="fundus")
    w(0.5, "oxytocic", action="started", drug="oxytocin", dose_mu_per_min=2)
    w(0.6, "support", companion="yes", pain_relief="no", drinking="yes")
    for n, dose in enumerate((4, 6, 8, 10, 12)):
        w(1 + 0.5 * n, "oxytocic", action="changed", drug="oxytocin", dose_mu_per_min=dose)
    for n in range(18):
        w(0.5 + 0.5 * n, "contractions", in_10_min=min(5, 2 + n // 3), lasting_s=35 + 2 * n,
          strength="strong" if n > 8 else "moderate")  # fmt: skip
    w(2, "posture", posture="mobile")
    w(2.5, "membranes", state="ruptured by themselves", fluid="clear", amount="usual")
    w(3, "cervix", dilatation_cm=5, station_cm=-1, position="left transverse", caput=1, moulding=1)
    w(3, "stage", stage="active first stage")
    w(3.2, "medicine", medicine_class="regional block", dose="top-up by the anaesthetist")
    w(3.3, "support", pain_relief="yes")
    w(3.5, "posture", posture="left side")
    wrong = w(4, "vitals", pulse_bpm=188, systolic_mmhg=121, diastolic_mmhg=74)
    w(4, "vitals", pulse_bpm=88, systolic_mmhg=121, diastolic_mmhg=74, corrects=wrong.number)
    w(4.1, "fluids", drunk_ml=400, infused_ml=500, urine_ml=350, bladder="catheter", protein=0)
    w(4.5, "review", review="trace", agrees=True, own_class="suspicious",
      lines=["Class: suspicious."])  # fmt: skip
    w(5, "cervix", dilatation_cm=6, station_cm=-1, position="left anterior", caput=1, moulding=1)
    w(5.5, "handover", to="Noor", changed="First handover.", situation="6 cm, on oxytocin.")
    w(6, "vitals", temperature_c=37.9, pulse_bpm=112, by="Noor")
    w(6.1, "told", who="registrar", about="temperature 37.9", urgency="to come", by="Noor")
    w(6.5, "cervix", dilatation_cm=8, station_cm=0, position="left anterior", caput=2, by="Noor")
    w(6.6, "came", who="registrar", told=len(case.entries) - 1, by="Noor")
    w(6.7, "medicine", medicine_class="antibiotic", dose="by vein", by="Noor")
    w(6.8, "plan", assessment="fever in labour, trace suspicious",
      plan="examine again in two hours, fluids, paracetamol", by="Noor")  # fmt: skip
    w(7.5, "membranes", fluid="thick meconium", by="Noor")
    w(7.6, "told", who="consultant", about="thick meconium", urgency="to come at once", by="Noor")
    w(8, "measure", measure="turned to her left side", why="falls with contractions", by="Noor")
    w(8.5, "cervix", dilatation_cm=10, station_cm=1, position="anterior", caput=2, by="Noor")
    w(9, "stage", stage="pushing", by="Noor")
    return case
