/*
 * ISYBAU XML, condition data: format version 2013-02 by its published schema, read so that additions of later
 * versions do not matter. Element names are the format's own (German).
 */
#include "xml_internal.h"

static const struct sm_xml_rule rules[] = {
    {"InspizierteAbwassertechnischeAnlage", "Objektbezeichnung", SM_XML_ID},
    {"RGrunddaten", "KnotenZulauf", SM_XML_NODE_1},
    {"RGrunddaten", "KnotenAblauf", SM_XML_NODE_2},
    {"RGrunddaten", "Profilhoehe", SM_XML_HEIGHT},
    {"RGrunddaten", "Profilbreite", SM_XML_WIDTH},
    {"RGrunddaten", "Material", SM_XML_MATERIAL},
    {"RGrunddaten", "Regeleinzelrohrlaenge", SM_XML_UNIT_LENGTH},
    {"Rohrleitung", "Inspektionslaenge", SM_XML_LENGTH},
    {"OptischeInspektion", "Inspektionsdatum", SM_XML_DATE},
    {"OptischeInspektion", "Videoablagereferenz", SM_XML_VIDEO_VOLUME},
    {"Rohrleitung", "Inspektionsrichtung", SM_XML_DIRECTION},
    {"Rohrleitung", "BezugspunktLage", SM_XML_REFERENCE},
    {"RZustand", "Station", SM_XML_DISTANCE},
    {"RZustand", "Timecode", SM_XML_TIMECODE},
    {"RZustand", "Frame", SM_XML_FRAME},
    {"RZustand", "Videozaehler", SM_XML_COUNTER},
    {"RZustand", "InspektionsKode", SM_XML_CODE},
    {"RZustand", "Charakterisierung1", SM_XML_CH1},
    {"RZustand", "Charakterisierung2", SM_XML_CH2},
    {"RZustand", "Verbindung", SM_XML_JOINT},
    {"RZustand", "Quantifizierung1Numerisch", SM_XML_Q1},
    {"RZustand", "Quantifizierung1Text", SM_XML_Q1},
    {"RZustand", "Quantifizierung2Numerisch", SM_XML_Q2},
    {"RZustand", "Quantifizierung2Text", SM_XML_Q2},
    {"RZustand", "Streckenschaden", SM_XML_CONTINUOUS},
    {"RZustand", "StreckenschadenLfdNr", SM_XML_CONTINUOUS_ID},
    {"RZustand", "PositionVon", SM_XML_CLOCK_FROM},
    {"RZustand", "PositionBis", SM_XML_CLOCK_TO},
    {"RZustand", "Fotodatei", SM_XML_PHOTO},
    {"RZustand", "Kommentar", SM_XML_REMARK},
    {"RZustand", "Gruppe", SM_XML_GROUP},
    {"Film", "Filmname", SM_XML_FILM_NAME},
    {"Film", "Filmpfad", SM_XML_FILM_PATH},
    {"Film", "FilmpfadIstAbsolut", SM_XML_FILM_IS_ABSOLUTE},
    {"Film", "Videoablagereferenz", SM_XML_FILM_VOLUME},
    {"Frame", "fps", SM_XML_FILM_FPS},
    {"FilmObjekt", "Objektbezeichnung", SM_XML_FILM_OBJECT},
    {"FilmObjekt", "Inspektionsrichtung", SM_XML_FILM_DIRECTION},
    {"Offset", "TcFrameNr", SM_XML_OFFSET_TIMECODE},
    {"Offset", "MPEGFrameNr", SM_XML_OFFSET_FRAME},
};
static const struct sm_xml_format format = {
    .object = "InspizierteAbwassertechnischeAnlage",
    .inspection = "OptischeInspektion",
    .row = "RZustand",
    .other = {{"OptischeInspektion", "Knoten"}, {"OptischeInspektion", "Bauwerk"}},
    .rule = rules,
    .n_rules = sizeof rules / sizeof rules[0],
    .is_isybau = true,
};

static enum sm_status read_isybau(struct sm_obslog_build *build, struct sm_error *err)
{
    return sm_obslog__xml_read(build, &format, err);
}

static int probe_isybau(const struct sm_obslog_input *input)
{
    return sm_obslog__xml_has(input, "<Identifikation") || sm_obslog__xml_has(input, ":Identifikation") ? 6
                                                                                                        : 0;
}

const struct sm_obslog_reader sm_obslog__isybau = {"isybau", probe_isybau, read_isybau};
