/* Zones from many styles of file names. The names are invented; the numbering of a side (1 upper anterior ... 6 lower
 * posterior) follows the figure of The Ultrasound Journal 2018, 10.1186/s13089-018-0096-1. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "exam/zones.h"

#include <stdio.h>
#include <string.h>

static void check(const char *text, const char *key, const char *scheme)
{
    const sl_zone *zone = sl_zone_in_words(text, scheme ? sl_protocol_by_key(scheme) : NULL);
    if (strcmp(zone ? zone->key : "", key))
        fail_msg("\"%s\" gives %s, not %s", text, zone ? zone->key : "nothing", *key ? key : "nothing");
}

static void numbers(void **state)
{
    (void)state;
    check("R1", "R-upper-anterior", NULL);
    check("r2", "R-lower-anterior", NULL);
    check("patient_7_L3", "L-upper-lateral", NULL);
    check("patient_13_R4", "R-basal-lateral", NULL);
    check("L5 deep", "L-upper-posterior", NULL);
    check("clip-L-06", "", NULL); /* a running number, not a zone */
    check("L06", "L-lower-posterior", NULL);
    check("2R", "R-lower-anterior", NULL);
    check("right 3", "R-upper-lateral", NULL);
    check("left zone 2", "L-lower-anterior", NULL);
    check("zone 2 left", "L-lower-anterior", NULL);
    check("R7", "", NULL);
    check("R0", "", NULL);
    check("R12", "", NULL);
    check("L3", "L-posterolateral", "6-points");
    check("L4", "", "6-points");
    check("R5", "", "8-zones");
    check("patient_2_L", "", NULL);
    check("R1 L2", "", NULL); /* two zones */
}

static void words(void **state)
{
    (void)state;
    check("right upper anterior", "R-upper-anterior", NULL);
    check("Anterior-Lower_LEFT", "L-lower-anterior", NULL);
    check("upper anterior right (2)", "R-upper-anterior", NULL);
    check("RightUpperAnterior", "R-upper-anterior", NULL);
    check("leftBasalLateral", "L-basal-lateral", NULL);
    check("L lat base", "L-basal-lateral", NULL);
    check("lat_sup_R", "R-upper-lateral", NULL);
    check("posterolateral left", "L-posterolateral", NULL);
    check("R postero-lateral", "R-posterolateral", NULL);
    check("right lateral posterior", "R-posterolateral", NULL);
    check("PLAPS R", "R-posterolateral", NULL);
    check("left costophrenic angle", "L-basal-lateral", NULL);
    check("left posterior middle", "L-middle-posterior", NULL);
    check("R posterior inferior", "R-lower-posterior", NULL);
    check("right lateral", "R-lateral", NULL);
    check("anterior L", "L-anterior", NULL);
    check("RUA", "R-upper-anterior", NULL);
    check("lbl_2", "L-basal-lateral", NULL);
    check("RPL", "R-posterolateral", NULL);
    check("R-upper-anterior", "R-upper-anterior", NULL); /* the keys themselves */
    check("R2 upper anterior", "R-upper-anterior", NULL); /* words weigh more than a number */
}

static void no_answer(void **state)
{
    (void)state;
    check("", "", NULL);
    check("IMG_0231", "", NULL);
    check("upper anterior", "", NULL);
    check("right left anterior", "", NULL);
    check("right", "", NULL);
    check("right upper", "", NULL);
    check("right upper lower anterior", "", NULL);
    check("right middle anterior", "", NULL);
    check("right anterior posterior", "", NULL);
    check("\xff\xfe right", "", NULL);
    check("a very long word aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa R1", "R-upper-anterior", NULL);
}

static void table(void **state)
{
    (void)state;
    int count;
    const sl_zone *zones = sl_zones(&count);
    for (int i = 0; i < count; i++) {
        assert_ptr_equal(sl_zone_by_key(zones[i].key), &zones[i]);
        assert_ptr_equal(sl_zone_in_words(zones[i].name, NULL), &zones[i]);
        assert_ptr_equal(sl_zone_in_words(zones[i].key, NULL), &zones[i]);
        assert_true(zones[i].from < zones[i].to && zones[i].top < zones[i].bottom);
    }
    for (const sl_protocol *const *at = sl_protocols(); *at; at++) {
        char digit = (*at)->key[0] == '1' ? (*at)->key[1] : (*at)->key[0];
        assert_int_equal((*at)->zones % 10, digit - '0');
        for (int i = 0; i < (*at)->zones; i++)
            assert_non_null((*at)->zone[i]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(numbers), cmocka_unit_test(words), cmocka_unit_test(no_answer),
                                       cmocka_unit_test(table)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
