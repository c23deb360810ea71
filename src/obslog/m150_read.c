/*
 * DWA-M 150 XML (April 2010): DATA / HG (segment) / HI (inspection) / HZ (row). The element list is priced;
 * the meanings here are those of one published anonymised sample. What is not in the table stays in the
 * remark under its own name.
 */
#include "xml_internal.h"

static const struct sm_xml_rule rules[] = {
    {"HG", "HG001", SM_XML_ID},         {"HG", "HG003", SM_XML_NODE_1},
    {"HG", "HG004", SM_XML_NODE_2},     {"HG", "HG304", SM_XML_MATERIAL},
    {"HG", "HG306", SM_XML_HEIGHT},     {"HG", "HG307", SM_XML_WIDTH},
    {"HG", "HG310", SM_XML_LENGTH},     {"HG", "HG314", SM_XML_UNIT_LENGTH},
    {"HI", "HI101", SM_XML_DIRECTION},  {"HI", "HI102", SM_XML_REFERENCE},
    {"HI", "HI104", SM_XML_DATE},       {"HI", "HI115", SM_XML_VIDEO_VOLUME},
    {"HI", "HI116", SM_XML_VIDEO},      {"HZ", "HZ001", SM_XML_DISTANCE},
    {"HZ", "HZ002", SM_XML_CODE},       {"HZ", "HZ014", SM_XML_CH1},
    {"HZ", "HZ015", SM_XML_CH2},        {"HZ", "HZ003", SM_XML_Q1},
    {"HZ", "HZ004", SM_XML_Q2},         {"HZ", "HZ005", SM_XML_CONTINUOUS},
    {"HZ", "HZ006", SM_XML_CLOCK_FROM}, {"HZ", "HZ007", SM_XML_CLOCK_TO},
    {"HZ", "HZ008", SM_XML_TIME},       {"HZ", "HZ009", SM_XML_PHOTO},
    {"HZ", "HZ010", SM_XML_REMARK},     {"HZ", "HZ011", SM_XML_JOINT},
    {"HZ", "HZ999", SM_XML_REMARK},
};
static const struct sm_xml_format format = {
    .object = "HG",
    .inspection = "HI",
    .row = "HZ",
    .other = {{"KG", "KI"}, {NULL, NULL}},
    .rule = rules,
    .n_rules = sizeof rules / sizeof rules[0],
};

static enum sm_status read_m150(struct sm_obslog_build *build, struct sm_error *err)
{
    return sm_obslog__xml_read(build, &format, err);
}

static int probe_m150(const struct sm_obslog_input *input)
{
    return sm_obslog__xml_has(input, "<DATA>") &&
                   (sm_obslog__xml_has(input, "<HG>") || sm_obslog__xml_has(input, "<FD>"))
               ? 6
               : 0;
}

const struct sm_obslog_reader sm_obslog__m150 = {"m150", probe_m150, read_m150};
