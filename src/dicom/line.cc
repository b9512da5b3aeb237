#include <dcmtk/config/osconfig.h>

#include "dicom/line.h"

#include <algorithm>
#include <dcmtk/dcmnet/dcmlayer.h>
#include <dcmtk/dcmnet/dcmtrans.h>
#include <dcmtk/dcmtls/tlslayer.h>

namespace
{

const unsigned long long command_most = 64 << 10, answer_most = 64 << 10, slack = 256 << 10;
const unsigned long long steady = 64 << 10; /* bytes in a whole time that count as going on */
const int whole_times = 10;

/* A connection of the toolkit's under limits. */
class Limited : public DcmTransportConnection
{
public:
    Limited(DcmNativeSocketType socket, DcmTransportConnection *own, sl_line_limits *limits)
        : DcmTransportConnection(socket), inner(own), limit(limits)
    {
    }
    ssize_t read(void *to, size_t room) override
    {
        const auto silent = std::chrono::steady_clock::now() + std::chrono::seconds(limit->silence_s);
        if (!limit->left)
            return stop(sl_line_limits::LARGE);
        while (!inner->networkDataAvailable(1)) {
            const auto now = std::chrono::steady_clock::now();
            if (now >= limit->end)
                return stop(sl_line_limits::SLOW);
            if (now >= silent)
                return stop(sl_line_limits::SILENT);
        }
        if (std::chrono::steady_clock::now() >= limit->end)
            return stop(sl_line_limits::SLOW);
        ssize_t got = inner->read(to, static_cast<size_t>(std::min<unsigned long long>(room, limit->left)));
        if (got <= 0)
            return got;
        limit->left -= static_cast<unsigned long long>(got);
        limit->came += static_cast<unsigned long long>(got);
        if (limit->moves && limit->came >= steady) {
            limit->came = 0;
            limit->end = std::chrono::steady_clock::now() + std::chrono::seconds(limit->whole_s);
        }
        return got;
    }
    OFBool networkDataAvailable(int timeout) override { return inner->networkDataAvailable(timeout); }
    OFCondition serverSideHandshake() override { return inner->serverSideHandshake(); }
    OFCondition clientSideHandshake() override { return inner->clientSideHandshake(); }
    OFCondition renegotiate(const char *suite) override { return inner->renegotiate(suite); }
    ssize_t write(void *from, size_t bytes) override { return inner->write(from, bytes); }
    void close() override { inner->close(); }
    void closeTransportConnection() override { inner->closeTransportConnection(); }
    unsigned long getPeerCertificateLength() override { return inner->getPeerCertificateLength(); }
    unsigned long getPeerCertificate(void *to, unsigned long room) override { return inner->getPeerCertificate(to, room); }
    OFBool isTransparentConnection() override { return inner->isTransparentConnection(); }
    OFString &dumpConnectionParameters(OFString &text) override { return inner->dumpConnectionParameters(text); }

private:
    std::unique_ptr<DcmTransportConnection> inner;
    sl_line_limits *limit;

    ssize_t stop(decltype(sl_line_limits::broke) why)
    {
        limit->broke = why;
        limit->left = 0; /* for good */
        return 0;        /* as if the other side had gone */
    }
};

class Layer : public DcmTransportLayer
{
public:
    Layer(DcmTransportLayer *secure, sl_line_limits *limits) : inner(secure), limit(limits) {}
    DcmTransportConnection *createConnection(DcmNativeSocketType socket, OFBool secure) override
    {
        DcmTransportConnection *own = inner ? inner->createConnection(socket, secure) : DcmTransportLayer::createConnection(socket, secure);
        return own ? new Limited(socket, own, limit) : nullptr;
    }

private:
    DcmTransportLayer *inner;
    sl_line_limits *limit;
};

} /* namespace */

void sl_line_limits::restart(unsigned long long bytes)
{
    if (broke != NOTHING)
        return;
    left = bytes;
    came = 0;
    if (moves)
        end = std::chrono::steady_clock::now() + std::chrono::seconds(whole_s);
}

sl_line::sl_line(const sl_dicom_peer *own, unsigned most_pdu) : sl_dicom_call(own, most_pdu)
{
    limit.silence_s = peer->answer_s;
    limit.whole_s = whole_times * peer->answer_s;
    limit.end = std::chrono::steady_clock::now() + std::chrono::seconds(limit.whole_s);
    limit.left = slack;
}

sl_line::~sl_line()
{
    hang_up(false); /* before the layer goes */
}

DcmTransportLayer *sl_line::around(DcmTLSTransportLayer *secure)
{
    layer.reset(new Layer(secure, &limit));
    return layer.get();
}

sl_status sl_line::open(const std::vector<sl_line_context> &contexts, sl_error *error)
{
    for (const sl_line_context &context : contexts) {
        std::vector<const char *> syntax;
        for (const std::string &one : context.syntaxes)
            syntax.push_back(one.c_str());
        propose(context.abstract.c_str(), syntax.data(), static_cast<int>(syntax.size()),
                context.stores ? ASC_SC_ROLE_SCP : ASC_SC_ROLE_DEFAULT);
    }
    const sl_dicom_hearing hearing = dial(error);
    if (hearing == SL_HEARD)
        return SL_OK;
    if (limit.broke != sl_line_limits::NOTHING)
        return broken(EC_Normal, error);
    return hearing == SL_TURNED_AWAY ? SL_UNSUPPORTED : SL_IO;
}

OFCondition sl_line::send(T_ASC_PresentationContextID id, T_DIMSE_Message *message, DcmDataset *data)
{
    return DIMSE_sendMessageUsingMemoryData(association(), id, message, nullptr, data, nullptr, nullptr);
}

OFCondition sl_line::receive(T_ASC_PresentationContextID *id, T_DIMSE_Message *message)
{
    DcmDataset *detail = nullptr;
    limit.restart(command_most + slack);
    OFCondition result = DIMSE_receiveCommand(association(), DIMSE_NONBLOCKING, peer->answer_s, id, message, &detail);
    delete detail;
    return result;
}

static void watch(void *context, unsigned long count)
{
    sl_line_limits *limit = static_cast<sl_line_limits *>(context);
    if (count > answer_most) {
        limit->broke = sl_line_limits::LARGE;
        limit->left = 0;
    }
}

OFCondition sl_line::receive(T_ASC_PresentationContextID id, std::unique_ptr<DcmDataset> *data)
{
    T_ASC_PresentationContextID on = 0;
    DcmDataset *raw = nullptr;
    limit.restart(answer_most + slack);
    OFCondition result = DIMSE_receiveDataSetInMemory(association(), DIMSE_NONBLOCKING, peer->answer_s, &on, &raw, watch, &limit);
    data->reset(raw);
    if (result.good() && on != id)
        result = DIMSE_BADMESSAGE;
    if (result.good() && !*data)
        result = DIMSE_BADDATA;
    return result;
}

void sl_line::cancel(T_ASC_PresentationContextID id, unsigned short message)
{
    DIMSE_sendCancelRequest(association(), id, message);
}

void sl_line::close()
{
    limit.restart(slack);
    hang_up(true);
}

sl_status sl_line::broken(const OFCondition &condition, sl_error *error)
{
    hang_up(false);
    const std::string name = who();
    switch (limit.broke) {
    case sl_line_limits::LARGE:
        return sl_fail(error, SL_LIMIT, "%s said more than an answer can be; it was cut off.", name.c_str());
    case sl_line_limits::SLOW:
        return sl_fail(error, SL_LIMIT, "%s was not done after %d seconds; it was cut off. Ask for less, or allow more with --timeout.",
                       name.c_str(), limit.whole_s);
    case sl_line_limits::SILENT:
        return sl_fail(error, SL_IO, "%s said nothing for %d seconds. Try again, or allow more with --timeout.", name.c_str(), peer->answer_s);
    case sl_line_limits::NOTHING:
        break;
    }
    if (condition == DIMSE_NODATAAVAILABLE || condition == DUL_READTIMEOUT)
        return sl_fail(error, SL_IO, "%s said nothing for %d seconds. Try again, or allow more with --timeout.", name.c_str(), peer->answer_s);
    if (condition == DUL_PEERREQUESTEDRELEASE || condition == DUL_PEERABORTEDASSOCIATION || condition == DUL_NETWORKCLOSED ||
        condition == DIMSE_READPDVFAILED || condition == DIMSE_SENDFAILED)
        return sl_fail(error, SL_IO, "%s ended the connection in the middle. Try again.", name.c_str());
    return sl_fail(error, SL_FORMAT, "%s answered what cannot be understood: %s.", name.c_str(), condition.text());
}

sl_status sl_line_said(const sl_line &line, unsigned status, const char *asked, sl_error *error)
{
    const std::string who = line.who();
    if (status == 0x0122 || status == 0x0112 || status == 0x0211 || status == 0x0124) /* PS3.7 C.5: no such class, operation, right */
        return sl_fail(error, SL_UNSUPPORTED, "%s does not allow %s (status 0x%04X).", who.c_str(), asked, status);
    if (status == 0xA801) /* PS3.4 C.4.2.1.5 */
        return sl_fail(error, SL_UNSUPPORTED, "%s does not know where to send to: have our title, address and port entered there.", who.c_str());
    if (status == 0xA900 || (status & 0xf000) == 0xC000) /* PS3.4 C.4.1.1.4: it cannot do this */
        return sl_fail(error, SL_UNSUPPORTED, "%s cannot do %s as it was asked for (status 0x%04X).", who.c_str(), asked, status);
    if (status == 0xA702) /* sub-operations: C.4.2.1.5, C.4.3.1.4 */
        return sl_fail(error, SL_IO, "%s could not send what was asked for (status 0xA702); it may be kept there in a form that is not known here.", who.c_str());
    if ((status & 0xff00) == 0xA700)
        return sl_fail(error, SL_IO, "%s is out of resources (status 0x%04X). Try again later, or ask for less.", who.c_str(), status);
    return sl_fail(error, SL_IO, "%s could not do %s (status 0x%04X).", who.c_str(), asked, status);
}
