// The usual ways to write a bus port: a word at 0x10 is an error, those from 0x20 on are slow.
`default_nettype none

module wishbone_at_once (
    input wire clk_i, input wire rst_i, input wire cyc_i, input wire stb_i, input wire we_i,
    input wire [3:0] adr_i, input wire [3:0] sel_i, input wire [31:0] dat_i,
    output wire [31:0] dat_o, output wire ack_o, output wire err_o
);
    wire due;
    pace pace(clk_i, cyc_i & stb_i, adr_i[3], due);
    assign ack_o = due & ~adr_i[2], err_o = due & adr_i[2];
    store store(clk_i, rst_i, ack_o & we_i, adr_i[1:0], dat_i, sel_i, dat_o);
endmodule

module wishbone_registered_ack (
    input wire clk, input wire rst, input wire wb_cyc, input wire wb_stb, input wire wb_we,
    input wire [5:2] wb_adr, input wire [3:0] wb_sel, input wire [31:0] wb_dat_w,
    output reg [31:0] wb_dat_r = 0, output reg wb_ack
);
    wire due, taken = due & ~wb_ack;
    wire [31:0] shown;
    pace pace(clk, wb_cyc & wb_stb, wb_adr[5], due);
    store store(clk, rst, taken & wb_we, wb_adr[3:2], wb_dat_w, wb_sel, shown);
    always @(posedge clk)
        if (rst) wb_ack <= 0;
        else begin
            wb_ack <= taken;
            wb_dat_r <= shown;
        end
endmodule

module wishbone_pipelined (
    input wire clk, input wire arst_n, input wire i_wb_cyc, input wire i_wb_stb, input wire i_wb_we,
    input wire [3:0] i_wb_addr, input wire [31:0] i_wb_data, input wire [3:0] i_wb_sel,
    output wire o_wb_stall, output reg o_wb_ack, output reg [31:0] o_wb_data = 0
);
    reg busy, write = 0;
    reg [3:0] address = 0, lanes = 0;
    reg [31:0] data = 0;
    wire due;
    wire [31:0] shown;
    assign o_wb_stall = busy;
    pace #(.LEAST(1)) pace(clk, busy & i_wb_cyc, address[3], due);
    store store(clk, ~arst_n, due & write, address[1:0], data, lanes, shown);
    always @(posedge clk or negedge arst_n)
        if (!arst_n) begin
            busy <= 0;
            o_wb_ack <= 0;
        end else begin
            o_wb_ack <= due & i_wb_cyc;
            o_wb_data <= shown;
            if (due | ~i_wb_cyc) busy <= 0;
            else if (i_wb_stb & ~busy) begin
                busy <= 1;
                {write, address, lanes, data} <= {i_wb_we, i_wb_addr, i_wb_sel, i_wb_data};
            end
        end
endmodule

module apb_whole (
    input wire pclk, input wire presetn, input wire psel, input wire penable, input wire pwrite,
    input wire [5:0] paddr, input wire [31:0] pwdata, input wire [3:0] pstrb, input wire [2:0] pprot,
    output wire [31:0] prdata, output wire pready, output wire pslverr
);
    wire due;
    pace #(.LEAST(1)) pace(pclk, psel & penable, paddr[5], due);
    assign pready = due, pslverr = due & paddr[4];
    store store(pclk, ~presetn, due & pwrite & ~paddr[4], paddr[3:2], pwdata, pstrb, prdata);
endmodule

module apb_least (
    input wire PCLK, input wire PRESETn, input wire PSEL, input wire PENABLE, input wire PWRITE,
    input wire [3:0] PADDR, input wire [31:0] PWDATA, output wire [31:0] PRDATA
);
    store store(PCLK, ~PRESETn, PSEL & PENABLE & PWRITE, PADDR[3:2], PWDATA, 4'hf, PRDATA);
endmodule

// Address and data are taken together, the response comes a cycle later.
module axi_together (
    input wire aclk, input wire aresetn,
    input wire s_axi_awvalid, output wire s_axi_awready, input wire [5:0] s_axi_awaddr,
    input wire s_axi_wvalid, output wire s_axi_wready, input wire [31:0] s_axi_wdata,
    input wire [3:0] s_axi_wstrb,
    output reg s_axi_bvalid, input wire s_axi_bready, output reg [1:0] s_axi_bresp = 0,
    input wire s_axi_arvalid, output wire s_axi_arready, input wire [5:0] s_axi_araddr,
    output reg s_axi_rvalid, input wire s_axi_rready, output reg [31:0] s_axi_rdata = 0,
    output reg [1:0] s_axi_rresp = 0
);
    wire write = s_axi_awvalid & s_axi_wvalid & ~s_axi_bvalid, read = s_axi_arvalid & ~s_axi_rvalid;
    wire [5:0] address = write ? s_axi_awaddr : s_axi_araddr;
    wire [31:0] shown;
    wire due;
    pace pace(aclk, write | read, address[5], due);
    assign s_axi_awready = write & due, s_axi_wready = write & due, s_axi_arready = read & due;
    store store(aclk, ~aresetn, write & due & ~address[4], address[3:2], s_axi_wdata, s_axi_wstrb,
                shown);
    always @(posedge aclk)
        if (!aresetn) {s_axi_bvalid, s_axi_rvalid} <= 0;
        else begin
            if (write & due) {s_axi_bvalid, s_axi_bresp} <= {1'b1, address[4], 1'b0};
            else if (s_axi_bready) s_axi_bvalid <= 0;
            if (read & due) begin
                {s_axi_rvalid, s_axi_rresp} <= {1'b1, {2{address[4]}}};
                s_axi_rdata <= shown;
            end else if (s_axi_rready) s_axi_rvalid <= 0;
        end
endmodule

// Ready before valid: address and data are taken one by one and kept. The response is slow.
module axi_kept (
    input wire aclk, input wire aresetn,
    input wire awvalid, output wire awready, input wire [5:0] awaddr, input wire [2:0] awprot,
    input wire wvalid, output wire wready, input wire [31:0] wdata, input wire [3:0] wstrb,
    output wire bvalid, input wire bready, output wire [1:0] bresp,
    input wire arvalid, output wire arready, input wire [5:0] araddr, input wire [2:0] arprot,
    output wire rvalid, input wire rready, output wire [31:0] rdata, output wire [1:0] rresp
);
    reg has_address, has_data, has_read;
    reg [5:0] to = 0, from = 0;
    reg [31:0] data = 0;
    reg [3:0] lanes = 0;
    wire write_due, read_due;
    wire write = has_address & has_data;
    assign awready = ~has_address, wready = ~has_data, arready = ~has_read;
    pace #(.LEAST(2)) writes(aclk, write & bready, to[5], write_due);
    pace #(.LEAST(2)) reads(aclk, has_read & rready, from[5], read_due);
    assign bvalid = write_due, rvalid = read_due;
    assign bresp = {to[4], 1'b0}, rresp = {from[4], 1'b0};
    store store(aclk, ~aresetn, write_due & bready & ~to[4], write ? to[3:2] : from[3:2], data,
                lanes, rdata);
    always @(posedge aclk or negedge aresetn)
        if (!aresetn) {has_address, has_data, has_read} <= 0;
        else begin
            if (awvalid & awready) {has_address, to} <= {1'b1, awaddr};
            if (wvalid & wready) {has_data, lanes, data} <= {1'b1, wstrb, wdata};
            if (bvalid & bready) {has_address, has_data} <= 0;
            if (arvalid & arready) {has_read, from} <= {1'b1, araddr};
            if (rvalid & rready) has_read <= 0;
        end
endmodule

// Ready is a register that follows valid, the data channel waits for the address channel.
module axi_in_turn (
    input wire aclk, input wire areset,
    input wire awvalid, output reg awready, input wire [5:0] awaddr,
    input wire wvalid, output reg wready, input wire [31:0] wdata, input wire [3:0] wstrb,
    output reg bvalid, input wire bready, output wire [1:0] bresp,
    input wire arvalid, output reg arready, input wire [5:0] araddr,
    output reg rvalid, input wire rready, output reg [31:0] rdata = 0, output wire [1:0] rresp
);
    reg [5:0] address = 0;
    reg error = 0;
    wire [31:0] shown;
    assign bresp = {error, 1'b0}, rresp = {error, 1'b0};
    store store(aclk, areset, wvalid & wready & ~error, address[3:2], wdata, wstrb, shown);
    always @(posedge aclk)
        if (areset) {awready, wready, bvalid, arready, rvalid} <= 0;
        else begin
            awready <= awvalid & ~awready;
            arready <= arvalid & ~arready;
            if (awvalid & awready) {wready, address, error} <= {1'b1, awaddr, awaddr[4]};
            if (wvalid & wready) {wready, bvalid} <= 2'b01;
            if (bvalid & bready) bvalid <= 0;
            if (arvalid & ~arready) {address, error} <= {araddr, araddr[4]};
            if (arvalid & arready) {rvalid, rdata} <= {1'b1, shown};
            if (rvalid & rready) rvalid <= 0;
        end
endmodule

module strobes_with_ready (
    input wire clk, input wire rst_n, input wire cs, input wire we, input wire re,
    input wire [5:0] addr, input wire [31:0] wdata, input wire [3:0] be,
    output wire [31:0] rdata, output wire rdy, output wire err
);
    pace pace(clk, cs & (we | re), addr[5], rdy);
    assign err = addr[4];
    store store(clk, ~rst_n, cs & we & rdy & ~err, addr[3:2], wdata, be, rdata);
endmodule

module strobes_least (
    input wire clock, input wire reset, input wire we, input wire [1:0] addr,
    input wire [31:0] din, output wire [31:0] dout
);
    store store(clock, reset, we, addr, din, 4'hf, dout);
endmodule

module strobes_late (
    input wire clk, input wire rst, input wire wr, input wire rd, input wire [3:0] addr,
    input wire [31:0] wdata, input wire [3:0] wstrb, output reg [31:0] rdata = 0
);
    wire [31:0] shown;
    store store(clk, rst, wr, addr[3:2], wdata, wstrb, shown);
    always @(posedge clk) if (rd) rdata <= shown; else rdata <= 32'hdeadbeef;
endmodule

module strobes_late_with_ready (
    input wire clk, input wire rst, input wire valid, input wire write, input wire [5:0] address,
    input wire [31:0] write_data, input wire [3:0] strb, output reg [31:0] read_data = 0,
    output wire ready
);
    wire [31:0] shown;
    pace #(.LEAST(1)) pace(clk, valid, address[5], ready);
    store store(clk, rst, valid & write & ready, address[3:2], write_data, strb, shown);
    always @(posedge clk) read_data <= valid & ready ? shown : 32'hdeadbeef;
endmodule
