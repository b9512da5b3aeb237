#include "cli/simulate_dicom.h"

#include "chest/scenario.h"
#include "objects/region.h"
#include "core/text.h"
#include "dicom/objects.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What of the scenario makes the clip this clip and no other. */
static sl_status identify(const sl_scenario *scenario, sl_secret *secret, sl_error *error)
{
    json_t *json = sl_scenario_to_json(scenario);
    char *text = json ? json_dumps(json, JSON_COMPACT) : NULL;
    json_decref(json);
    if (!text)
        return sl_fail(error, SL_MEMORY, "Memory ran out while naming the clip.");
    sl_secret_from(text, strlen(text), secret);
    free(text);
    return SL_OK;
}

sl_status sl_simulate_dicom(sl_chest *chest, const sl_scenario *scenario, const char *path,
                            void (*progress)(const char *name, int frame, int frames), sl_error *error)
{
    sl_view view;
    sl_clip_region region;
    sl_secret secret;
    sl_status status = identify(scenario, &secret, error);
    if (status)
        return status;
    sl_chest_view(chest, &view);
    sl_dicom_subject subject = {.name = "Invented^Simulated", .id = "SIMULATED", .study_id = "1"};
    sl_dicom_image image = {.width = view.width, .height = view.height, .frame_time_s = 1 / sl_chest_frame_rate_hz(chest),
                            .region = &region, .regions = sl_dicom_region_of(&view, &region),
                            .transducer = sl_dicom_transducer_of(&view),
                            .depth_mm = scenario->controls.depth_mm - scenario->controls.crop_top_mm,
                            .freq_mhz = scenario->probe.freq_mhz, .description = "Invented: a simulated chest, no person",
                            .content_date = "", .number = 1};
    sl_dicom_uid_for(&secret, "study", "", subject.study_uid);
    sl_dicom_uid_for(&secret, "series", "", image.instance.series_uid);
    sl_dicom_uid_for(&secret, "instance", "", image.instance.uid);
    sl_dicom_clip_writer *writer = NULL;
    int frames = sl_chest_frames(chest);
    status = sl_dicom_clip_open(path, &subject, &image, &writer, error);
    for (int i = 0; !status && i < frames; i++) {
        sl_gray picture;
        status = sl_chest_frame(chest, i, &picture, error);
        if (!status)
            status = sl_dicom_clip_gray(writer, picture, error);
        progress(sl_path_name(path), i + 1, frames);
    }
    sl_error ignored;
    sl_status closed = sl_dicom_clip_close(&writer, !status, status ? &ignored : error);
    return status ? status : closed;
}
