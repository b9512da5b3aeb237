#include "acoustics/speckle.h"

#include "core/units.h"

double sl_speckle_grey_sd(double dynamic_range_db)
{
    return dynamic_range_db > 0 ? SL_SPECKLE_LOG_SD_DB * 255 / dynamic_range_db : SL_UNKNOWN;
}

double sl_speckle_compound_ratio(double looks)
{
    return looks >= 1 ? SL_SPECKLE_MEAN_OVER_SD * sqrt(looks) : SL_UNKNOWN;
}

double sl_speckle_mean_error_db(double area_mm2, double cell_mm2)
{
    if (!(area_mm2 > 0 && cell_mm2 > 0))
        return SL_UNKNOWN;
    return SL_SPECKLE_LOG_SD_DB / sqrt(fmax(1, area_mm2 / cell_mm2));
}

double sl_speckle_shift_correlation(double shift_mm, double sigma_mm)
{
    return sigma_mm > 0 ? exp(-shift_mm * shift_mm / (2 * sigma_mm * sigma_mm)) : SL_UNKNOWN;
}
