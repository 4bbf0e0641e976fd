"""Worksheets of ammonia and nitrification."""

from dataclasses import replace

from servicedesk.science.water import ammonia, nitrification, ph_scales
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import Answer, Curve, Input, LineChart, Output, Worksheet, amount, step
from servicedesk.science.worksheets.inputs import PH, PH_SCALE, SALINITY, TEMP, VOLUME


def toxic_share(*, ammonia_mg_l: float, ph: float, ph_scale: str, salinity: float, temp_c: float) -> Answer:
    total_ph = ph_scales.to_total(ph, ph_scale, salinity, temp_c)
    pk = ammonia.pk("total", salinity, temp_c)
    share = ammonia.toxic_share(ph=total_ph, scale="total", salinity=salinity, temp_c=temp_c)
    toxic = ammonia.toxic_mg_l_n(ammonia_mg_l=ammonia_mg_l, share=share)
    spread = abs(ammonia.pk_yao_millero(salinity, temp_c) - pk) if salinity <= 40 else 0.0
    return Answer(
        values={"share_pct": 100 * share, "toxic_mg_l": toxic, "ph_total": total_ph},
        do=(_ammonia_order(toxic),),
        steps=(
            step(
                "pH on the total scale",
                "{reading} − {difference}",
                amount("ph", total_ph),
                "Takahashi 1982" if ph_scale == "nbs" else "Dickson 2007",
                reading=amount("ph", ph),
                difference=amount("ph", ph - total_ph),
            ),
            step(
                "pK of ammonium, total scale",
                "equation of Clegg & Whitfield at {salinity} and {temperature}",
                amount("ratio", pk),
                "Clegg & Whitfield 1995",
                salinity=amount("salinity", salinity),
                temperature=amount("temperature", temp_c),
            ),
            step(
                "Toxic share",
                "100 ÷ (1 + 10^({pK} − {pH}))",
                amount("percent_fine", 100 * share),
                "Clegg & Whitfield 1995",
                pK=amount("ratio", pk),
                pH=amount("ph", total_ph),
            ),
            step(
                "Toxic ammonia as N",
                "{ammonia} × {share} ÷ 100 × 0.822",
                amount("trace", toxic),
                "stoichiometry",
                ammonia=amount("ammonia", ammonia_mg_l),
                share=amount("percent_fine", 100 * share),
            ),
        ),
        flags=(
            say(
                "Another published pK lies {spread} higher: the share is sure to about one part in twenty, the pH "
                "reading to much less: ± 0.05 pH is ± 12 % of the share.",
                spread=amount("ratio", spread),
            ),
        )
        if spread
        else (),
        charts=(_share_chart(salinity, temp_c, total_ph),),
    )


def _ammonia_order(toxic: float) -> Say:
    found = amount("trace", toxic)
    if toxic >= ammonia.HARM_MG_L_N:
        return say(
            "{toxic} of toxic ammonia nitrogen harms animals. Stop feeding, change water matched in temperature and "
            "salinity from the mixing tank at once, add air, look for a dead animal, and do not raise the pH. "
            "Measure again after two hours.",
            toxic=found,
        )
    if toxic >= ammonia.WATCH_MG_L_N:
        return say(
            "{toxic} of toxic ammonia nitrogen: halve the feed today, look for a dead animal, keep the pH from "
            "rising, and measure again tomorrow.",
            toxic=found,
        )
    return say("{toxic} of toxic ammonia nitrogen: under the {limit} at which to act.", toxic=found,
               limit=amount("trace", ammonia.WATCH_MG_L_N))  # fmt: skip


def _share_chart(salinity: float, temp_c: float, ph_total: float) -> LineChart:
    at = [7.4 + 0.05 * index for index in range(29)]
    shares = [100 * ammonia.toxic_share(ph=ph, scale="total", salinity=salinity, temp_c=temp_c) for ph in at]
    here = 100 * ammonia.toxic_share(ph=ph_total, scale="total", salinity=salinity, temp_c=temp_c)
    return LineChart(
        "Toxic share by pH",
        "pH, total scale",
        "ph",
        "Toxic share",
        "percent_fine",
        (Curve("Toxic share", at, shares), Curve("This water", [ph_total], [here], points_only=True)),
    )


LEAST_ALKALINITY_MEQ_L = 1.5  # under it nitrification slows: common practice


def biofilter(
    *,
    volume_l: float,
    feed_g_day: float,
    protein_pct: float,
    rate_g_m2_day: float,
    surface_m2_l: float,
    alkalinity_meq_l: float,
    doubling_d: float,
) -> Answer:
    nitrogen = nitrification.ammonia_g_day(feed_g_day, protein_pct / 100)
    area = nitrification.biofilter_area_m2(nitrogen, rate_g_m2_day)
    media = nitrification.media_l(area, surface_m2_l)
    alkalinity = nitrification.alkalinity_meq_day(nitrogen)
    oxygen = nitrification.oxygen_g_day(nitrogen)
    start = nitrification.startup_days(doubling_d=doubling_d)
    return Answer(
        values={
            "ammonia_g_day": nitrogen,
            "area_m2": area,
            "media_l": media,
            "alkalinity_meq_l_day": alkalinity / volume_l,
            "oxygen_g_day": oxygen,
            "startup_d": start,
        },
        do=(
            say(
                "Have {media} of medium ({area} of wetted surface) in flowing, aerated water for {feed} of feed; rock "
                "and sand already there count towards it.",
                media=amount("volume", media),
                area=amount("area", area),
                feed=amount("mass_per_day", feed_g_day),
            ),
            say(
                "New media carry the load after about {start}: till then feed little, measure ammonia and nitrite "
                "every second day, and add animals in steps.",
                start=amount("days", start),
            ),
            say(
                "Nitrification takes {fall} of alkalinity: count it in the demand. It comes back where nitrate is "
                "taken up or denitrified.",
                fall=amount("alkalinity_per_day", alkalinity / volume_l),
            ),
            *_alkalinity_order(volume_l, alkalinity_meq_l, alkalinity),
        ),
        steps=(
            step(
                "Ammonia nitrogen given off",
                "0.092 × {feed} × {protein} ÷ 100",
                amount("mass_per_day", nitrogen),
                "Timmons & Ebeling",
                feed=amount("mass_per_day", feed_g_day),
                protein=amount("percent", protein_pct),
            ),
            step(
                "Surface",
                "{nitrogen} ÷ {rate}",
                amount("area", area),
                "common practice",
                nitrogen=amount("mass_per_day", nitrogen),
                rate=amount("nitrogen_per_area", rate_g_m2_day),
            ),
            step(
                "Medium",
                "{area} ÷ {surface}",
                amount("volume", media),
                "mass balance",
                area=amount("area", area),
                surface=amount("surface_per_volume", surface_m2_l),
            ),
            step(
                "Alkalinity used",
                "{nitrogen} × 142.8 meq/g ÷ {volume}",
                amount("alkalinity_per_day", alkalinity / volume_l),
                "stoichiometry",
                nitrogen=amount("mass_per_day", nitrogen),
                volume=amount("volume", volume_l),
            ),
            step(
                "Oxygen used",
                "{nitrogen} × 4.57",
                amount("mass_per_day", oxygen),
                "stoichiometry",
                nitrogen=amount("mass_per_day", nitrogen),
            ),
            step(
                "Time to 95 % from a thousandth",
                "ln(999 × 0.95 ÷ 0.05) ÷ ln 2 × {doubling}",
                amount("days", start),
                "common practice",
                doubling=amount("days", doubling_d),
            ),
        ),
        flags=(
            say(
                "At {alkalinity} nitrification slows down: raise the alkalinity first.",
                alkalinity=amount("alkalinity", alkalinity_meq_l),
            ),
        )
        if alkalinity_meq_l < LEAST_ALKALINITY_MEQ_L
        else (),
        charts=(_start_chart(start, doubling_d),),
    )


def _alkalinity_order(volume_l: float, alkalinity_meq_l: float, use_meq_day: float) -> tuple[Say, ...]:
    if alkalinity_meq_l <= LEAST_ALKALINITY_MEQ_L or use_meq_day == 0:
        return ()
    days = nitrification.days_of_alkalinity(
        volume_l=volume_l,
        alkalinity_meq_l=alkalinity_meq_l,
        least_meq_l=LEAST_ALKALINITY_MEQ_L,
        use_meq_day=use_meq_day,
    )
    return (
        say(
            "In a system with no dosing and no corals it pulls alkalinity down to {least} in {days}: measure and "
            "raise it before that.",
            least=amount("alkalinity", LEAST_ALKALINITY_MEQ_L),
            days=amount("days", days),
        ),
    )


def _start_chart(start: float, doubling_d: float) -> LineChart:
    days = [start * 1.4 * index / 60 for index in range(61)]
    grown = [100 * nitrification.started_share(day, doubling_d=doubling_d) for day in days]
    return LineChart(
        "Growth of a new biofilter",
        "Day",
        "days",
        "Share of the load it carries",
        "percent",
        (Curve("Carried", days, grown),),
        (("Ready", 95.0),),
    )


FEED = Input("feed_g_day", "Dry feed a day", "mass_per_day", 0, 50000, recall="programme.feed_g_day")

SHEETS = (
    Worksheet(
        name="ammonia-toxic-share",
        title="How much of the ammonia is toxic",
        subject="Nutrients and feeding",
        purpose="The un-ionised part of a total ammonia reading, and what to do about it.",
        inputs=(
            Input("ammonia_mg_l", "Total ammonia", "ammonia", 0, 20, recall="reading.ammonia"),
            PH,
            PH_SCALE,
            replace(SALINITY, high=40),
            TEMP,
        ),
        outputs=(
            Output("toxic_mg_l", "Toxic ammonia, as N", "trace", main=True),
            Output("share_pct", "Toxic share", "percent_fine"),
            Output("ph_total", "pH, total scale", "ph"),
        ),
        compute=toxic_share,
        sources=("Clegg & Whitfield 1995", "Yao & Millero 1995", "Takahashi 1982", "Dickson 2007", "common practice"),
        valid="Salinity 19 to 40, 2 to 35 °C. The limits 0.02 and 0.05 mg/L N are common practice.",
    ),
    Worksheet(
        name="biofilter",
        title="Biofilter surface and start-up",
        subject="Nutrients and feeding",
        purpose="The surface that nitrifies what the feed brings, what it uses of alkalinity and oxygen, and the weeks "
        "until it runs.",
        inputs=(
            VOLUME,
            FEED,
            Input("protein_pct", "Protein in the feed", "percent", 0, 90, default=45, help="From the label."),
            Input("alkalinity_meq_l", "Alkalinity", "alkalinity", 0, 12, default=2.8, recall="reading.alkalinity"),
            Input("rate_g_m2_day", "Rate of the surface", "nitrogen_per_area", 0.02, 2, default=0.3,
                  help="Common practice 0.1 to 0.5.", usual=(0.1, 0.5), detail=True),
            Input("surface_m2_l", "Surface of the medium", "surface_per_volume", 0.05, 5, default=0.5,
                  help="From the maker; common practice 0.2 to 0.9.", detail=True),
            Input("doubling_d", "Doubling time of the bacteria", "days", 0.5, 10, default=2,
                  help="Common practice in warm seawater: about two days.", detail=True),
        ),
        outputs=(
            Output("media_l", "Medium", "volume", main=True),
            Output("area_m2", "Wetted surface", "area"),
            Output("ammonia_g_day", "Ammonia nitrogen", "mass_per_day"),
            Output("alkalinity_meq_l_day", "Alkalinity used", "alkalinity_per_day"),
            Output("oxygen_g_day", "Oxygen used", "mass_per_day"),
            Output("startup_d", "Time to carry the load", "days"),
        ),
        compute=biofilter,
        sources=("Timmons & Ebeling", "stoichiometry", "common practice", "mass balance"),
        valid="Warm, well-oxygenated seawater at 22 to 28 °C; all ammonia nitrified, none taken up by corals or algae.",
    ),
)  # fmt: skip
