#include <dcmtk/config/osconfig.h>

#include "dicom/deid.h"

#include "dicom/deid_attributes.h"
#include "dicom/deid_pixels.h"
#include "dicom/load.h"
#include "dicom/write.h"

#include <new>

extern "C" {
#include "core/text.h"
}

namespace
{

sl_status prepare(DcmFileFormat &format, const char *in, sl_error *error)
{
    OFCondition result = sl_dicom_load(format, in);
    if (result.bad())
        return sl_fail(error, SL_FORMAT, "%s is a DICOM file that cannot be read (%s). Send or export it again.",
                       sl_path_name(in), result.text());
    return SL_OK;
}

/* Content that only a person can vouch for. */
sl_status refuse_text(DcmDataset *dataset, const char *name, sl_error *error)
{
    static const DcmTagKey texts[] = {DCM_ContentSequence, DCM_EncapsulatedDocument, DCM_GraphicAnnotationSequence,
                                      DCM_DirectoryRecordSequence};
    for (const DcmTagKey &tag : texts)
        if (dataset->tagExists(tag))
            return sl_fail(error, SL_UNSUPPORTED, "%s holds a report, a document or annotations, whose text nobody can vouch "
                                                  "for. It was not exported.",
                           name);
    return SL_OK;
}

sl_status copy(const char *in, const char *out, const sl_deid_plan *plan, const sl_deid_found *found, sl_deid_notes *notes,
               sl_error *error)
{
    DcmFileFormat format;
    E_TransferSyntax syntax = EXS_Unknown;
    sl_status status = prepare(format, in, error);
    if (!status)
        status = refuse_text(format.getDataset(), sl_path_name(in), error);
    if (!status)
        status = sl_deid_pixels(format.getDataset(), in, found, plan->threads, &syntax, notes, error);
    if (status)
        return status;
    sl_deid_attributes(format.getDataset(), &plan->secret, notes);
    return sl_dicom_write(format.getAndRemoveDataset(), out, syntax, error); /* a preamble and header of our own */
}

} /* namespace */

extern "C" sl_status sl_dicom_deidentify(const char *in, const char *out, const sl_deid_plan *plan,
                                         const sl_deid_found *found, sl_deid_notes *notes, sl_error *error)
{
    sl_status status;
    bool same = false;
    try {
        status = copy(in, out, plan, found, notes, error);
        same = !status && !found->boxes.count && sl_deid_same_pixels(in, out);
    } catch (const std::exception &) {
        status = sl_fail(error, SL_MEMORY, "Memory ran out while writing %s. Close other programs and try again.",
                         sl_path_name(out));
    }
    if (!status && !same)
        status = sl_burned_verify(plan->reader, out, plan->threads, error);
    notes->verified = !status;
    if (status)
        unlink(out);
    return status;
}
